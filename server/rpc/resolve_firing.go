package rpc

import bowrollv1 "bowroll/proto/bowroll/v1"

// checkFiring refuses a time that does not go with the mode, and the lack of one
// that does.
func checkFiring(firing *bowrollv1.Firing, f *faults) {
	if firing == nil || f.has("boosters.firing.mode") {
		return // said by the contract's own rules
	}
	rolling := firing.GetMode() == bowrollv1.FiringMode_FIRING_MODE_ROLLING
	switch {
	case rolling && firing.DelayS == nil && !f.has("boosters.firing.delay_s"):
		f.add("boosters.firing.delay_s", "", "required", "given with FIRING_MODE_ROLLING", "seconds from brake release to the command")
	case !rolling && firing.DelayS != nil:
		f.add("boosters.firing.delay_s", number(firing.GetDelayS()), "goes-with", "given with FIRING_MODE_ROLLING only", "")
	}
	fixed := rolling || firing.GetMode() == bowrollv1.FiringMode_FIRING_MODE_UNLIT
	if fixed && firing.ReactionS != nil {
		f.add("boosters.firing.reaction_s", number(firing.GetReactionS()), "goes-with", "given where the brakes may be used", "")
	}
}
