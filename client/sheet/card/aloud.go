package card

import (
	"strings"

	"bowroll/client/sheet/figure"
)

// aloud is what is read out over a bad line in under 40 seconds: the digest and
// the six numbers first, then what to do when something fails.
func (s setting) aloud() []string {
	fire := "No units"
	if s.Cue != nil {
		fire = "Firing " + given(s.Cue.TimeS, figure.Seconds) + " after release"
		if s.Cue.OnBrakes {
			fire = "Firing on the brakes"
		}
	}
	first := []string{
		strings.Join(nonEmpty(s.Sortie, spotName(s.Spot)), ", "),
		"Digest " + s.Digest,
		"Mass " + s.measured(figure.Mass, s.Load.GrossMassKG),
		fire,
		"Rotate " + s.measured(figure.Speed, s.Numbers.RotateMPS),
		"Required run " + s.measured(figure.Length, s.Numbers.RequiredRunM),
		"Headwind at least " + s.least(figure.Speed, s.Box.LeastHeadwindMPS),
		"Void after " + clockOf(s.VoidAfter),
	}
	lines := []string{strings.Join(first, ". ") + "."}
	var then []string
	for _, do := range []Do{Stop, Go, GoOrStop, Unprovided} {
		var when []string
		for _, a := range s.Actions {
			if a.Do == do {
				when = append(when, strings.ToLower(a.When[:1])+a.When[1:])
			}
		}
		if len(when) > 0 {
			then = append(then, "If "+strings.Join(when, ", ")+": "+string(do))
		}
	}
	if len(then) > 0 {
		lines = append(lines, strings.Join(then, ". ")+".")
	}
	return lines
}

func nonEmpty(list ...string) []string {
	var kept []string
	for _, text := range list {
		if text != "" {
			kept = append(kept, text)
		}
	}
	return kept
}
