package vectors

import (
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// checkSearches holds the searches against the vector: the least headwind whose
// roll fits the run available, firing as given, and the command time with the
// least roll, all units firing. Both are on the roll, without rotation, factor
// 1. The least roll is compared and its command time is not: near the best the
// roll hardly depends on it.
func (v *Vector) checkSearches(c *comparison, runner *takeoff.Runner, setting takeoff.Setting, firing takeoff.Firing) {
	var schedule booster.Schedule
	search := takeoff.FiringSearch{Measure: takeoff.ByRoll}
	if v.Expect.AvailableM != nil && v.Expect.MinimumHeadwindMPS != nil {
		limit := runner.LeastHeadwind(&schedule, takeoff.LimitQuestion{
			Units: setting.Units, Firing: firing, Search: search, Factor: 1, AvailableM: *v.Expect.AvailableM,
		})
		c.outcome("minimum_headwind_mps exists", true, limit.Outcome == takeoff.LimitFound)
		c.number("minimum_headwind_mps", v.Expect.MinimumHeadwindMPS, limit.Value, Tolerance)
	}
	if v.Expect.RollAtBestDelayM != nil {
		units := append([]booster.Unit(nil), setting.Units...)
		for i := range units {
			units[i].Dud = false
		}
		best := runner.BestFiring(&schedule, units, search)
		c.number("roll_at_best_delay_m", v.Expect.RollAtBestDelayM, best.Roll.DistanceM, Tolerance)
	}
}
