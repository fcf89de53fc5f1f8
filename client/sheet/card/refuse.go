package card

import (
	"fmt"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// refusals are the reasons against a card: an outcome that holds the launch, a
// failure without a way out, and data without which nobody should launch.
func refusals(s Sources, c Card) []string {
	list := []string{}
	say := func(bad bool, format string, args ...any) {
		if bad {
			list = append(list, fmt.Sprintf(format, args...))
		}
	}
	off := s.Takeoff
	if off.GetOutcome() == bowrollv1.Outcome_OUTCOME_UNSPECIFIED {
		return append(list, "The launch was not computed.")
	}
	switch off.GetOutcome() {
	case bowrollv1.Outcome_OUTCOME_GETS_OFF, bowrollv1.Outcome_OUTCOME_MARGINAL,
		bowrollv1.Outcome_OUTCOME_NOT_WORTH_FITTING, bowrollv1.Outcome_OUTCOME_BURN_OUT_IN_ROTATION:
	default:
		list = append(list, finding(off))
	}
	say(task(s).GetHeld(), "The launch window is shut once it could go.")
	units := len(c.Load.Units) > 0
	policy := off.GetPolicy()
	say(policy == nil || policy.GetLegs() == bowrollv1.Legs_LEGS_UNSPECIFIED,
		"No policy says which ways out of a failed unit are accepted.")
	say(units && len(off.GetFailures()) == 0, "What happens if a unit fails was not computed.")
	say(units && off.Covered != nil && !off.GetCovered() && policy.GetLegs() != bowrollv1.Legs_LEGS_NEITHER,
		"A single failure has no way out that the policy accepts.")
	say(c.Numbers.GradientWithoutBooster == nil, "The climb after burn-out is not known.")
	say(c.Load.GrossMassKG == nil, "The mass is not given.")
	say(c.Environment.TemperatureC == nil || c.Environment.PressurePa == nil, "The air is not known.")
	say(c.Environment.HeadwindMPS == nil, "The wind is not known.")
	say(c.Box == nil, "The box inside which it holds is not known, so nobody could say when it is void.")
	say(units && c.Cue == nil, "The moment of firing is not known.")
	say(units && c.Zones.KeepClearM == nil, "How far behind the exhaust to keep clear is not known.")
	for _, d := range s.Launch.GetDraws() {
		b := s.Boosters[d.GetLot()]
		if b == nil {
			list = append(list, fmt.Sprintf("The booster type of %s is not known.", d.GetLot()))
			continue
		}
		for _, m := range missing(b) {
			list = append(list, fmt.Sprintf("%s of %s is missing from the catalog.", m, d.GetLot()))
		}
	}
	say(c.IssuedAt != nil && c.IssuedAt.After(c.VoidAfter), "It would be issued after it is void.")
	return list
}

// missing names the data of a booster type that a card must have and for which
// no default would be safe.
func missing(b *bowrollv1.BoosterType) []string {
	var list []string
	for _, d := range []struct {
		value *float64
		name  string
	}{
		{b.FiringLeastC, "The lowest firing temperature"}, {b.FiringGreatestC, "The highest firing temperature"},
		{b.MisfireWaitS, "The waiting time after a misfire"},
		{b.HangFireS, "The hang-fire allowance"},
	} {
		if d.value == nil {
			list = append(list, d.name)
		}
	}
	return list
}

// finding says what holds a launch.
func finding(off *bowrollv1.Takeoff) string {
	for _, f := range off.GetFindings() {
		if f.GetOutcome() == off.GetOutcome() && f.GetText() != "" {
			return f.GetText()
		}
	}
	return "Outcome: " + strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(off.GetOutcome().String(), "OUTCOME_"), "_", " ")) + "."
}
