package cyclesheet

import (
	"fmt"
	"math"
	"strings"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// launches is the plan itself, one line a launch.
func (s Sheet) launches() paper.Cell {
	if len(s.Plan.GetLaunches()) == 0 {
		return paper.Cell{Title: "Launches", Blocks: []paper.Block{paper.Plain{Text: "Nothing launches.", Strong: true}}}
	}
	t := paper.Table{Columns: []paper.Column{
		{Head: "#", Right: true, Share: 0.45},
		{Head: "UTC +min late", Share: 1.6},
		{Head: "Sortie", Share: 1.55},
		{Head: "Type", Share: 1.35, Rank: 4},
		{Head: "Mass", Right: true, Share: 1.05, Rank: 3},
		{Head: "Spot", Share: 0.8},
		{Head: "Units and lot", Share: 1.7},
		{Head: "Firing", Right: true, Share: 0.9},
		{Head: "Run req'd", Right: true, Share: 0.95, Rank: 1},
		{Head: "avail.", Right: true, Share: 0.9, Rank: 2},
		{Head: "Margin", Right: true, Share: 1.05},
		{Head: "Least wind", Right: true, Share: 0.95, Rank: 5},
		{Head: "If a unit fails", Share: 1.25, Badges: map[string]paper.Fill{"NO WAY OUT": paper.Black}},
		{Head: "Outcome", Share: 1.65, Badges: map[string]paper.Fill{"marginal": paper.Open}},
	}}
	for _, l := range s.Plan.GetLaunches() {
		t.Rows = append(t.Rows, s.launch(l))
	}
	return paper.Cell{Title: "Launches", Long: true, Blocks: []paper.Block{t},
		Note: fmt.Sprintf("mass in %s, runs in %s, wind in %s; mass without units", s.unit(figure.Mass), s.unit(figure.Length), s.unit(figure.Speed))}
}

func (s Sheet) launch(l *bowrollv1.PlannedLaunch) []string {
	off := l.GetTakeoff()
	if off == nil {
		off = &bowrollv1.Takeoff{}
	}
	sortie := s.sortie(l.GetSortie())
	when := figure.Clock(s.start(), s.goes(l))
	if late := s.goes(l) - l.GetLaunchS(); late >= 30 {
		when += fmt.Sprintf(" +%.0f", math.Ceil(late/60))
	}
	least := figure.None
	switch limit := l.GetLeastHeadwindMps(); limit.GetState() {
	case bowrollv1.LimitState_LIMIT_STATE_FOUND:
		least = figure.Alone(figure.AtLeast(s.Units, figure.Speed, limit.GetValue()))
	case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
		least = "any"
	}
	return []string{
		fmt.Sprint(l.GetOrder()), when, l.GetSortie(), typeOf(sortie),
		s.number(figure.Mass, sortie.GrossMassKg), l.GetSpot(), draws(l.GetDraws()), firing(off.GetFiring()),
		s.number(figure.Length, off.RequiredRunM), s.number(figure.Length, off.AvailableM), s.number(figure.Length, off.MarginM),
		least, fails(off), words(off.GetOutcome().String(), "OUTCOME_"),
	}
}

// fails is the way out that a launch relies on if units fail, loud where there is
// none. A loud GO beside a launch would read as leave to go.
func fails(off *bowrollv1.Takeoff) string {
	text := figure.Legs(off.GetFailures())
	if text == figure.NoWayOut {
		return strings.ToUpper(text)
	}
	return text
}

func typeOf(sortie *bowrollv1.Sortie) string {
	if name := sortie.GetAircraftType(); name != "" {
		return name[strings.LastIndexByte(name, '/')+1:]
	}
	return sortie.GetAircraft().GetDisplayName()
}

func draws(list []*bowrollv1.Draw) string {
	if len(list) == 0 {
		return "none"
	}
	parts := make([]string, len(list))
	for i, d := range list {
		parts[i] = fmt.Sprintf("%d %s", d.GetUnitCount(), d.GetLot())
	}
	return strings.Join(parts, " + ")
}

func firing(f *bowrollv1.FiringUsed) string {
	switch f.GetMode() {
	case bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES:
		return "brakes"
	case bowrollv1.FiringMode_FIRING_MODE_ROLLING:
		return figure.Given(f.DelayS, figure.Seconds)
	case bowrollv1.FiringMode_FIRING_MODE_UNLIT:
		return "unlit"
	}
	return figure.None
}

// words turns the name of an enumeration's value into words.
func words(name, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
}

// held is why each sortie stays, and what would launch it.
func (s Sheet) held() paper.Cell {
	t := paper.Table{Columns: []paper.Column{
		{Head: "#", Right: true, Share: 0.4}, {Head: "Sortie", Share: 1.2}, {Head: "Priority", Right: true, Share: 0.8},
		{Head: "Held because", Share: 5}, {Head: "Would launch with any one of", Share: 4},
	}}
	for _, h := range s.Plan.GetHeld() {
		var releases []string
		for _, c := range h.GetReleases()[:min(3, len(h.GetReleases()))] { // the cheapest
			releases = append(releases, figure.Change(s.Units, c))
		}
		text := strings.Join(releases, ", or ")
		if text == "" {
			text = "no single change found"
		}
		t.Rows = append(t.Rows, []string{fmt.Sprint(h.GetOrder()), h.GetSortie(), fmt.Sprint(h.GetPriority()), s.why(h), text})
	}
	if len(t.Rows) == 0 {
		return paper.Cell{}
	}
	return paper.Cell{Title: "Held", Long: true, Blocks: []paper.Block{t}}
}

// why says in words why a sortie is held. The service's own sentence speaks SI.
func (s Sheet) why(h *bowrollv1.HeldSortie) string {
	switch h.GetReason() {
	case bowrollv1.HoldReason_HOLD_REASON_NO_USABLE_FIT:
		return "no permitted fit gets it off in the " + s.measured(figure.Length, h.GetAvailableM()) + " it has"
	case bowrollv1.HoldReason_HOLD_REASON_STOCK:
		return "its units go to launches worth more"
	case bowrollv1.HoldReason_HOLD_REASON_CREWS:
		return "the crews cannot fit its units in time"
	}
	return h.GetText()
}
