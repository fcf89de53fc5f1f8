package sheet

import (
	"fmt"
	"strings"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// box draws the conditions inside which the answer holds.
func (p *page) box(off *bowrollv1.Takeoff) {
	b := off.GetBox()
	if b == nil {
		return
	}
	until := ""
	if b.GetUntilTime() != nil {
		until = "until " + b.GetUntilTime().AsTime().UTC().Format("2006-01-02 15:04Z")
	}
	p.heading("HOLDS INSIDE", until)
	side := func(label string, m measure, least, greatest *float64) {
		if text := p.inside(m, least, greatest); text != "" {
			p.labelled(tonePlain, label, tonePlain, text, labelColumns)
		}
	}
	side("Headwind", speed, b.LeastHeadwindMps, b.GreatestHeadwindMps)
	side("Crosswind", speed, nil, b.GreatestCrosswindMps)
	side("Mass alone", mass, b.LeastMassKg, b.GreatestMassKg)
	side("Air", temperature, b.LeastTemperatureC, b.GreatestTemperatureC)
	side("Grain", temperature, b.LeastGrainTemperatureC, b.GreatestGrainTemperatureC)
	if b.SpotToleranceM != nil {
		p.labelled(tonePlain, "Spot", tonePlain, "within "+p.atMost(length, b.GetSpotToleranceM())+" of it, either way", labelColumns)
	}
	p.paragraph(tonePlain, "With all of them at their worst at once the required run still fits, fired as above; outside any one the answer is void.", 0)
}

// inside says a range of which either end may be open, nothing where both are.
func (p *page) inside(m measure, least, greatest *float64) string {
	return figure.Between(p.style.Units, m, least, greatest)
}

// around draws what is around the take-off: exhaust, firing lines, drop zone.
func (p *page) around(off *bowrollv1.Takeoff) {
	if off.GetKeepClear() == nil && off.GetDropZone() == nil && len(off.GetFiringLines()) == 0 {
		return
	}
	p.heading("AROUND THE AIRCRAFT", "")
	if k := off.GetKeepClear(); k != nil {
		text := p.atLeast(length, k.GetDistanceM()) + " behind the nozzles, " + word(k.GetBasis())
		if k.GetBasis() == bowrollv1.KeepClearBasis_KEEP_CLEAR_BASIS_TESTED && k.EstimateM != nil {
			text += "; a free jet is estimated to " + p.measured(length, k.GetEstimateM())
		}
		p.labelled(tonePlain, "Keep clear", tonePlain, text, labelColumns)
	}
	for _, l := range off.GetFiringLines() {
		t := tonePlain
		if !l.GetGood() {
			t = toneBad
		}
		p.labelled(tonePlain, "Firing line", t, fmt.Sprintf("%s least source %.1f V, test current at most %.0f mA.",
			clean(l.GetText()), l.GetLeastSourceV(), 1000*l.GetTestLimitA()), labelColumns)
	}
	if z := off.GetDropZone(); z != nil {
		p.labelled(tonePlain, "Units fall", tonePlain, p.dropZone(z), labelColumns)
	}
}

// dropZone says an ellipse in words.
func (p *page) dropZone(z *bowrollv1.DropZone) string {
	ahead := "ahead of"
	along := z.GetCentreAlongM()
	if along < 0 {
		ahead, along = "behind", -along
	}
	text := fmt.Sprintf("in an ellipse %s long and %s wide along the track", p.measured(length, 2*z.GetSemiAlongM()), p.measured(length, 2*z.GetSemiAcrossM()))
	if z.TrackDeg != nil {
		text += " " + bearing(z.GetTrackDeg())
	}
	text += fmt.Sprintf(", its centre %s %s where they are dropped", p.measured(length, along), ahead)
	if across := z.GetCentreAcrossM(); across != 0 {
		side := "starboard"
		if across < 0 {
			side, across = "port", -across
		}
		text += " and " + p.measured(length, across) + " to " + side
	}
	text += fmt.Sprintf("; on the %s from %s to %s after the drop", word(z.GetAbove()), seconds(z.GetFirstDownS()), seconds(z.GetClearS()))
	for _, f := range z.GetFalls() {
		if f.GetLoaded() {
			return text + "; a unit that did not fire comes down loaded"
		}
	}
	return text
}

// uneven says the moments of uneven thrust, where there are any.
func (p *page) uneven(u *bowrollv1.Asymmetry) {
	if u == nil || u.GetBurnMomentNm() == 0 && u.GetTailMomentNm() == 0 {
		return
	}
	var parts []string
	add := func(when string, moment float64, control, acts *float64) {
		if moment == 0 {
			return
		}
		side := "starboard"
		if moment < 0 {
			side, moment = "port", -moment
		}
		text := fmt.Sprintf("%.1f kN m to %s in the %s", moment/1000, side, when)
		if control != nil && acts != nil {
			text += ", held from " + p.measured(speed, *control) + " and felt from " + p.measured(speed, *acts)
		}
		parts = append(parts, text)
	}
	add("burn", u.GetBurnMomentNm(), u.BurnControlAirspeedMps, u.BurnAirspeedMps)
	add("tail", u.GetTailMomentNm(), u.TailControlAirspeedMps, u.TailAirspeedMps)
	p.labelled(tonePlain, "Uneven", tonePlain, strings.Join(parts, "; "), labelColumns)
}
