package rpc

import (
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// safetyCautions speak of what is around a take-off with units, and of a wind
// that looks like another unit's.
func (r *run) safetyCautions(a *takeoff.Assessment, add func(bowrollv1.Severity, string, string, ...any)) {
	const note, caution, warning = bowrollv1.Severity_SEVERITY_NOTE, bowrollv1.Severity_SEVERITY_CAUTION, bowrollv1.Severity_SEVERITY_WARNING
	for _, line := range r.parts.firingLines {
		switch {
		case line.GetIgnition() != bowrollv1.Ignition_IGNITION_SURE || !line.GetTestSafe():
			add(warning, "firing-line", "%s", line.GetText())
		case !line.GetGood():
			add(caution, "firing-line", "%s", line.GetText())
		}
	}
	if clear := r.parts.keepClear; clear != nil {
		switch {
		case clear.GetBasis() == bowrollv1.KeepClearBasis_KEEP_CLEAR_BASIS_ESTIMATE:
			add(caution, "exhaust-estimated", "The keep-clear distance of %.0f m is an estimate of a free jet: heat, debris and the deck beneath are not in it, and no test is stated.",
				clear.GetDistanceM())
		case clear.EstimateM != nil && clear.GetEstimateM() > clear.GetDistanceM():
			add(note, "exhaust-estimate-longer", "A free jet would be felt to %.0f m; the tested %.0f m are used.", clear.GetEstimateM(), clear.GetDistanceM())
		}
	}
	for _, f := range a.Verdict {
		if f.Outcome == takeoff.DeckCeilingExceeded && readsAsKnots(r.res.Case, r.res.Limits.CeilingMPS) {
			add(caution, "wind-reads-as-knots", "The wind is above the deck's ceiling and would be below it as knots: check that it is in metres a second.")
		}
	}
	units := r.res.Setting.Units
	if len(units) == 0 {
		return
	}
	if len(r.res.Setting.Aircraft.Stations) == 0 {
		add(caution, "no-station-data", "The aircraft type states no stations: units are taken to be on the centre line, and uneven thrust is not judged.")
	}
	if u := a.Asymmetry; u != nil && !u.HasControl && (u.BurnNM != 0 || u.TailNM != 0) {
		add(caution, "no-control-data", "The aircraft type states no greatest yawing-moment coefficient: whether rudder and fin hold the uneven thrust is not judged.")
	}
	if kind := units[0].Type; kind.WaitTooShort() {
		add(caution, "misfire-wait-short", "The booster type waits %.0f min after a misfire; blasting practice asks for %.0f min (30 CFR 56.6310).",
			*kind.WaitingTimeS/60, kind.LeastWaitS()/60)
	}
}
