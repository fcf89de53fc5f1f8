package refusal

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// mostText is the longest text that is one line for people; what may be longer
// is a document, with line ends of its own.
const mostText = 1024

// Text returns what keeps a text from being a line for people, or nil: control
// characters and those that change the direction of the text after them, which
// nobody sees and which make a name read as another; and a form in which two
// names that look alike differ.
func Text(field, text string) *bowrollv1.Violation {
	if plain(text) {
		return nil
	}
	fault := &bowrollv1.Violation{Field: field, Value: quoted(text)}
	switch {
	case !utf8.ValidString(text):
		fault.Rule, fault.Allowed = "utf8", "UTF-8 text"
	case strings.ContainsFunc(text, isControl):
		fault.Rule, fault.Allowed = "control-character", "one line without control characters"
	case !norm.NFC.IsNormalString(text):
		fault.Rule, fault.Allowed = "nfc", "text in Unicode normalization form C"
		fault.Hint = "write " + quoted(norm.NFC.String(text))
	default:
		return nil
	}
	return fault
}

// plain settles the ordinary case: printable ASCII.
func plain(text string) bool {
	for i := range len(text) {
		if text[i] < ' ' || text[i] > '~' {
			return false
		}
	}
	return true
}

func isControl(r rune) bool {
	return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' ||
		(r >= '\u202a' && r <= '\u202e') || (r >= '\u2066' && r <= '\u2069')
}

// quoted shows a text, with what cannot be seen escaped, cut where it is long.
func quoted(text string) string {
	const most = 80
	if len(text) <= most {
		return strconv.QuoteToASCII(text)
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(text[cut]) {
		cut--
	}
	return strconv.QuoteToASCII(text[:cut]) + "..."
}
