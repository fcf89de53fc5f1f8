package sheet

import (
	"io"

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
		t.row(plain(digits(int(l.GetUnitCount())), p.limit(speed, l.GetLeastHeadwindMps()),
			p.givenNumber(speed, l.CrosswindLimitMps), p.givenNumber(speed, l.TailwindLimitMps),
			p.givenNumber(speed, l.WindCeilingMps))...)
	}
	p.table(t)
	p.paragraph(toneQuiet, "Speeds in "+p.unit(speed)+". Least headwind: "+none+" is no wind in range is enough, any is none is needed. Elsewhere "+none+" is no limit stated.", 0)
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
func (p *page) envelope(l *bowrollv1.WindLimit) {
	p.heading("WIND OVER DECK WITH "+plural(int(l.GetUnitCount()), "UNIT", "UNITS"), "speeds in "+p.unit(speed))
	t := table{columns: []column{
		{head: "From,", under: "relative", right: true},
		{head: "Least", right: true},
		{head: "set by", least: 8},
		{head: "Greatest", right: true},
		{head: "set by", least: 8},
	}}
	for _, e := range l.GetEnvelope() {
		if !e.GetOpen() {
			t.row(plain(bearing(e.GetRelativeFromDeg()), "closed", orNone(e.GetLeastBinds()), none, orNone(e.GetGreatestBinds()))...)
			continue
		}
		t.row(plain(bearing(e.GetRelativeFromDeg()),
			p.givenNumber(speed, e.LeastMps), orNone(e.GetLeastBinds()),
			p.givenNumber(speed, e.GreatestMps), orNone(e.GetGreatestBinds()))...)
	}
	p.table(t)
}
