package card

import (
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// kinds are the failures in the order in which they are read: what is seen from
// the cockpit, the plainest first.
var kinds = []struct {
	kind bowrollv1.FailureKind
	when string
}{
	{bowrollv1.FailureKind_FAILURE_KIND_ALL_DUD, "None lights"},
	{bowrollv1.FailureKind_FAILURE_KIND_ONE_DUD, "One stays unlit"},
	{bowrollv1.FailureKind_FAILURE_KIND_LINE_DUD, "A firing line stays unlit"},
	{bowrollv1.FailureKind_FAILURE_KIND_SIDE_LATE, "One side hangs fire"},
	{bowrollv1.FailureKind_FAILURE_KIND_UNEQUAL_PAIR, "A pair burns unequally"},
}

// actions says for each kind of failure what to do. Where the failures of a kind
// want different legs but one leg fits them all, that one is said: nobody can
// tell which unit failed while rolling.
func actions(off *bowrollv1.Takeoff) []Action {
	list := []Action{}
	for _, k := range kinds {
		var of []*bowrollv1.Failure
		for _, f := range off.GetFailures() {
			if f.GetKind() == k.kind {
				of = append(of, f)
			}
		}
		if len(of) > 0 {
			list = append(list, action(k.when, of, off.GetPolicy().GetLegs()))
		}
	}
	return list
}

func action(when string, of []*bowrollv1.Failure, legs bowrollv1.Legs) Action {
	a := Action{When: when}
	stops, goes, allStop, allGo, uncovered := 0, 0, true, true, false
	for _, f := range of {
		a.GoM, a.StopM, a.KnowS = greater(a.GoM, f.GoRunM), greater(a.StopM, f.StopDistanceM), greater(a.KnowS, f.RecognisedS)
		allStop, allGo = allStop && f.GetStopFits(), allGo && f.GetGoFits()
		switch {
		case f.Leg == nil:
			uncovered = true
		case f.GetLeg() == bowrollv1.Leg_LEG_STOP:
			stops++
		default:
			goes++
		}
	}
	stopAsked := legs == bowrollv1.Legs_LEGS_STOP || legs == bowrollv1.Legs_LEGS_EITHER
	goAsked := legs == bowrollv1.Legs_LEGS_GO || legs == bowrollv1.Legs_LEGS_EITHER
	switch {
	case uncovered:
		a.Do = Unprovided
	case stops == len(of):
		a.Do = Stop
	case goes == len(of):
		a.Do = Go
	case allStop && stopAsked:
		a.Do = Stop
	case allGo && goAsked:
		a.Do = Go
	default:
		a.Do = GoOrStop
		var which []string
		for _, f := range of {
			which = append(which, f.GetText()+": "+strings.ToLower(strings.TrimPrefix(f.GetLeg().String(), "LEG_")))
		}
		a.Which = strings.Join(which, "; ")
	}
	return a
}
