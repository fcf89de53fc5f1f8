package figure

import bowrollv1 "bowroll/proto/bowroll/v1"

// NoWayOut is what [Legs] says where a failure has none.
const NoWayOut = "no way out"

// Mixed is what [Legs] says where the way out depends on what fails.
const Mixed = "mixed"

// Legs says which way out a launch relies on if units fail: "go" or "stop" where
// every failure has the same, [Mixed] where it depends on what fails, and [NoWayOut]
// where a failure has none. Without failures it is [None].
func Legs(failures []*bowrollv1.Failure) string {
	text := None
	for _, f := range failures {
		leg := NoWayOut
		switch {
		case f.Leg == nil && f.GetCovered(): // the policy asks for none
			leg = "not asked"
		case f.GetLeg() == bowrollv1.Leg_LEG_GO:
			leg = "go"
		case f.GetLeg() == bowrollv1.Leg_LEG_STOP:
			leg = "stop"
		}
		switch {
		case leg == NoWayOut:
			return leg
		case text == None:
			text = leg
		case text != leg:
			text = Mixed
		}
	}
	return text
}
