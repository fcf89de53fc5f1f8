package sheet

import (
	"io"
	"slices"
	"strings"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// WindLimits draws in which winds one load may go. about says what the load is;
// it may be empty.
func WindLimits(w io.Writer, style Style, about string, answer *bowrollv1.WindLimitsComputeResponse) error {
	p := newPage(style)
	p.warnings(alone(answer.GetCautions()))
	p.heading("WIND LIMITS", clean(about))
	t := table{columns: []column{
		{head: "Units", right: true},
		{head: "Least", under: "headwind", right: true},
		{head: "Greatest", under: "crosswind", right: true},
		{head: "Greatest", under: "tailwind", right: true},
		{head: "Greatest", under: "over deck", right: true},
	}}
	for _, l := range answer.GetLimits() {
		t.row(plain(digits(int(l.GetUnitCount())), p.leastFound(speed, l.GetLeastHeadwindMps()),
			p.givenAtMost(speed, l.CrosswindLimitMps), p.givenAtMost(speed, l.TailwindLimitMps),
			p.givenAtMost(speed, l.WindCeilingMps))...)
	}
	p.table(t)
	p.paragraph(toneQuiet, "Speeds in "+p.unit(speed)+". Least headwind: any where none is needed, "+none+" where none in range is enough. Elsewhere "+none+" where no limit is stated.", 0)
	for _, l := range answer.GetLimits() {
		if len(l.GetEnvelope()) > 0 {
			p.envelope(l)
		}
	}
	p.cautions("CAUTIONS", without(alone(answer.GetCautions()), bowrollv1.Severity_SEVERITY_WARNING))
	p.provenance(answer.GetProvenance())
	return p.write(w)
}

// envelope draws the winds over deck that keep every limit, by direction.
// Neighbouring directions that no speed suits take one line together.
func (p *page) envelope(l *bowrollv1.WindLimit) {
	p.heading("WIND OVER DECK WITH "+strings.ToUpper(plural(int(l.GetUnitCount()), "unit", "units")), "speeds in "+p.unit(speed))
	t := table{columns: []column{
		{head: "From, off the bow"},
		{head: "Least", right: true},
		{head: "set by", least: 8},
		{head: "Greatest", right: true},
		{head: "set by", least: 8},
	}}
	points := l.GetEnvelope()
	for i := 0; i < len(points); i++ {
		first := points[i]
		if first.GetOpen() {
			t.row(plain(bearing(first.GetRelativeFromDeg()),
				given(first.LeastMps, func(v float64) string { return figure.Alone(p.atLeast(speed, v)) }), orNone(first.GetLeastBinds()),
				p.givenAtMost(speed, first.GreatestMps), orNone(first.GetGreatestBinds()))...)
			continue
		}
		var binds []string
		for ; i < len(points) && !points[i].GetOpen(); i++ {
			if b := points[i].GetGreatestBinds(); b != "" && !slices.Contains(binds, b) {
				binds = append(binds, b)
			}
		}
		i--
		from := bearing(first.GetRelativeFromDeg())
		if points[i] != first {
			from = strings.TrimSuffix(from, " deg") + " to " + bearing(points[i].GetRelativeFromDeg())
		}
		t.row(cell{text: from}, cell{text: "closed", tone: toneCare}, cell{text: orNone(first.GetLeastBinds())},
			cell{text: none}, cell{text: orNone(strings.Join(binds, ", "))})
	}
	p.table(t)
}
