package cyclesheet

import "bowroll/client/sheet/paper"

// works is the work on deck for each launch.
func (s Sheet) works() []work {
	var list []work
	for _, l := range s.Plan.GetLaunches() {
		units := 0
		for _, d := range l.GetDraws() {
			units += int(d.GetUnitCount())
		}
		list = append(list, work{sortie: l.GetSortie(), units: units, launch: l.GetLaunchS()})
	}
	return list
}

func (s Sheet) windowFrom(at float64) float64 { return at }
func (s Sheet) windowTo(at float64) float64   { return at }

// window draws when launches are possible.
func (s Sheet) window(*paper.Drawing, func(float64) float64, float64, float64, float64, float64) {}
