package sheet

import (
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// none is drawn for what is not there.
const none = figure.None

// word returns the value of an enumeration in words: OUTCOME_GETS_OFF of
// Outcome is "gets off". A value this program is too old to know is drawn as
// its number.
func word(value protoreflect.Enum) string {
	enum := value.Descriptor()
	known := enum.Values().ByNumber(value.Number())
	if known == nil {
		return "unknown"
	}
	prefix := strings.TrimSuffix(string(enum.Values().Get(0).Name()), "UNSPECIFIED")
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(known.Name()), prefix), "_", " "))
}

// outcome returns what a computation found, and how it bears on the launch.
func outcome(o bowrollv1.Outcome) cell {
	switch o {
	case bowrollv1.Outcome_OUTCOME_GETS_OFF:
		return cell{word(o), toneGood}
	case bowrollv1.Outcome_OUTCOME_MARGINAL, bowrollv1.Outcome_OUTCOME_NOT_WORTH_FITTING,
		bowrollv1.Outcome_OUTCOME_BURN_OUT_IN_ROTATION:
		return cell{word(o), toneCare}
	}
	return cell{word(o), toneBad}
}

// severity returns the label of a caution.
func severity(s bowrollv1.Severity) (string, tone) {
	switch s {
	case bowrollv1.Severity_SEVERITY_WARNING:
		return "WARNING", toneBad
	case bowrollv1.Severity_SEVERITY_CAUTION:
		return "CAUTION", toneCare
	}
	return "note", toneQuiet
}

// short returns the last part of a resource name: aircraftTypes/corvane is
// corvane.
func short(name string) string {
	return name[strings.LastIndexByte(name, '/')+1:]
}

// orNone draws a dash for an empty text.
func orNone(text string) string {
	if text == "" {
		return none
	}
	return clean(text)
}

// plural counts a thing: 1 unit, 2 units.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return digits(n) + " " + many
}

// upperFirst begins a sentence.
func upperFirst(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
