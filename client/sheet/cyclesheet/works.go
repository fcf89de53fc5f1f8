package cyclesheet

import (
	"fmt"
	"math"
	"strings"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// works is the work on deck for each launch: what the plan's timeline says, or
// the launch times alone where the cycle does not say what the work takes.
func (s Sheet) works() []work {
	var list []work
	if tasks := s.Plan.GetTimeline().GetTasks(); len(tasks) > 0 {
		for _, t := range tasks {
			list = append(list, worked(t))
		}
		return list
	}
	for _, l := range s.Plan.GetLaunches() {
		list = append(list, work{sortie: l.GetSortie(), launch: l.GetLaunchS()})
	}
	return list
}

// goes is when a launch can go: as planned, or later where the work on deck takes
// longer.
func (s Sheet) goes(l *bowrollv1.PlannedLaunch) float64 {
	for _, t := range s.Plan.GetTimeline().GetTasks() {
		if t.GetSortie() == l.GetSortie() && !t.GetHeld() {
			return t.GetLaunchS()
		}
	}
	return l.GetLaunchS()
}

func worked(t *bowrollv1.DeckTask) work {
	w := work{sortie: t.GetSortie(), fitFrom: t.FitStartS, ready: t.ReadyS, testFrom: t.TestStartS, igniterFrom: t.IgniterStartS, launch: t.GetLaunchS()}
	for _, team := range t.GetTeams() {
		w.teams = append(w.teams, fmt.Sprint(team))
	}
	switch {
	case t.GetHeld():
		w.stays, w.note = true, "does not go: window shut"
	case t.GetMisfired():
		w.note = "misfire"
	case t.GetDelayS() >= 30:
		w.note = fmt.Sprintf("+%.0f min", math.Ceil(t.GetDelayS()/60))
		if t.GetWaitedFor() != bowrollv1.Hindrance_HINDRANCE_PLAN {
			w.note += " for " + words(t.GetWaitedFor().String(), "HINDRANCE_")
		}
	}
	if t.OverHoldS != nil {
		w.note += ", units on too long"
	}
	return w
}

// windowFrom and windowTo widen the timeline so that the launch window and the
// turn into the wind are on it.
func (s Sheet) windowFrom(at float64) float64 {
	if turn := s.Plan.GetTimeline(); turn != nil && turn.TurnStartS != nil {
		at = min(at, turn.GetTurnStartS())
	}
	if w := s.Cycle.GetLaunchWindow(); w != nil && w.FromS != nil {
		at = min(at, w.GetFromS())
	}
	return at
}

func (s Sheet) windowTo(at float64) float64 {
	if w := s.Cycle.GetLaunchWindow(); w != nil && w.UntilS != nil {
		at = max(at, w.GetUntilS())
	}
	return at
}

// window draws when the ship turns into the wind and when launches are possible:
// a band above the bars.
func (s Sheet) window(d *paper.Drawing, x func(float64) float64, from, to, top, bottom float64) {
	upright := func(t float64, text string, anchor paper.Anchor) {
		d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Stroke, X: x(t), Y: top - 1, X2: x(t), Y2: bottom, Weight: 0.5, Dashed: true},
			paper.Shape{Kind: paper.Label, X: x(t), Y: bottom + 8.2, Text: text, Size: 2.8, Anchor: anchor, Strong: true})
		d.Words = append(d.Words, strings.TrimSpace(text)+".")
	}
	if t := s.Plan.GetTimeline(); t != nil && t.TurnStartS != nil {
		anchor := paper.End // to the left of its line, clear of the window's
		if x(t.GetTurnStartS()) < 50 {
			anchor = paper.Start
		}
		upright(t.GetTurnStartS(), "turn into wind by "+figure.Clock(s.start(), t.GetTurnStartS())+" ", anchor)
	}
	w := s.Cycle.GetLaunchWindow()
	if w == nil {
		return
	}
	if w.FromS != nil {
		from = w.GetFromS()
		upright(from, " window opens "+figure.Clock(s.start(), from), paper.Start)
	}
	if w.UntilS != nil {
		to = w.GetUntilS()
		upright(to, "shuts "+figure.Clock(s.start(), to), paper.End)
	}
	d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Box, X: x(from), Y: top - 1.2, X2: x(to), Y2: top - 0.1, Fill: paper.Middle})
}

// pace says what stands in the way of an earlier end, and what would help.
func (s Sheet) pace() string {
	t := s.Plan.GetTimeline()
	if t == nil {
		return ""
	}
	minutes := func(v float64) string { return figure.Fixed(v/60, 0) + " min" }
	text := "First launch to last " + minutes(t.GetSpanS()) + "; the deck alone would need " + minutes(t.GetDeckSpanS()) +
		", the crews alone " + minutes(t.GetCrewsSpanS()) + "."
	if c := t.GetCritical(); c != bowrollv1.Hindrance_HINDRANCE_UNSPECIFIED && c != bowrollv1.Hindrance_HINDRANCE_PLAN {
		text += " What holds it up: the " + words(c.String(), "HINDRANCE_") + "."
	}
	if t.GetOneMoreTeamS() > 0 {
		text += " One team more would end it " + minutes(t.GetOneMoreTeamS()) + " sooner."
	}
	if t.SeaUsedM != nil {
		text += fmt.Sprintf(" Sea used %s nmi", figure.Fixed(t.GetSeaUsedM()/1852, 1))
		if t.SeaRoomM != nil {
			text += fmt.Sprintf(" of %s nmi", figure.Fixed(t.GetSeaRoomM()/1852, 1))
		}
		text += "."
	}
	return text
}
