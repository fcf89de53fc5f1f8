package sheet

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Plan draws the plan of a cycle: what goes, on which course, what to beware
// of, then each launch, what is held and why, and the stock after. cycle is the
// request that was planned, for names, masses and times of day; it may be nil.
func Plan(w io.Writer, style Style, cycle *bowrollv1.Cycle, plan *bowrollv1.CyclePlan) error {
	s := newPlanSheet(style, cycle, plan)
	s.part()
	s.provenance(plan.GetProvenance())
	return s.write(w)
}

func newPlanSheet(style Style, cycle *bowrollv1.Cycle, plan *bowrollv1.CyclePlan) *planSheet {
	s := &planSheet{page: newPage(style), plan: plan, cycle: cycle, sorties: map[string]*bowrollv1.Sortie{}, lots: map[string]*bowrollv1.Lot{}}
	for _, sortie := range cycle.GetSorties() {
		s.sorties[sortie.GetId()] = sortie
	}
	for _, lot := range cycle.GetLots() {
		s.lots[lot.GetId()] = lot
	}
	if cycle.GetStartTime() != nil {
		s.start = cycle.GetStartTime().AsTime()
	}
	return s
}

// part draws all but where the answer comes from.
func (s *planSheet) part() {
	s.headline()
	s.course()
	cautions := gather(s.plan)
	s.warnings(cautions)
	s.launches()
	s.held()
	s.spots()
	s.replan()
	s.timeline()
	s.prices()
	s.stock()
	s.binding()
	s.cautions("CAUTIONS", without(cautions, bowrollv1.Severity_SEVERITY_WARNING))
}

type planSheet struct {
	*page
	plan    *bowrollv1.CyclePlan
	cycle   *bowrollv1.Cycle
	sorties map[string]*bowrollv1.Sortie
	lots    map[string]*bowrollv1.Lot // whose data is known
	start   time.Time
	joint   bool // the plan is part of one for several decks
}

// headline says in three lines what a planner asks first: how many go, who does
// not, and what is left.
func (s *planSheet) headline() {
	title, aside := s.cycle.GetDisplayName(), ""
	if title == "" {
		title = s.plan.GetId()
	}
	if parts := strings.Split(clean(s.cycle.GetDeck()), "/"); len(parts) == 4 {
		aside = parts[1] + " " + parts[3] + " deck"
	}
	if !s.start.IsZero() {
		aside += s.start.UTC().Format("  2 Jan 2006 15:04 UTC")
	}
	s.heading(strings.ToUpper(clean(title)), aside)

	off, held := len(s.plan.GetLaunches()), len(s.plan.GetHeld())
	if held == 0 {
		all := fmt.Sprintf("All %d launch.", off)
		if off == 1 {
			all = "The one sortie launches."
		}
		s.paragraph(toneGood, all, 0)
	} else {
		var ids []string
		for _, h := range s.plan.GetHeld() {
			ids = append(ids, h.GetSortie())
		}
		tone := toneCare
		if off == 0 {
			tone = toneBad
		}
		s.paragraph(tone, fmt.Sprintf("%d of %d launch; %d held: %s.", off, off+held, held, strings.Join(ids, ", ")), 0)
	}
	s.paragraph(tonePlain, s.proof(), 0)
}

// proof says what the plan is worth, what it costs and what is known of it.
func (s *planSheet) proof() string {
	used, after, asked := 0, 0, int(s.plan.GetObjective().GetPriorityLaunched())
	for _, l := range s.plan.GetLots() {
		used += int(l.GetUsedCount())
		if l.GetBarred() == "" { // what may not be used is not left
			after += int(l.GetAfterCount())
		}
	}
	for _, h := range s.plan.GetHeld() {
		asked += int(h.GetPriority())
	}
	text := fmt.Sprintf("Priority launched %d of %d; %s used, %d left. ", s.plan.GetObjective().GetPriorityLaunched(), asked,
		plural(used, "unit", "units"), after)
	if s.joint {
		return strings.TrimSpace(text)
	}
	if s.plan.GetOptimal() {
		text += "Proven best: no plan launches more, or as much with fewer units."
		if s.plan.GetProofChecked() {
			text += " The proof was checked."
		}
		return text
	}
	return text + fmt.Sprintf("NOT PROVEN best: up to %s might be launched; the search stopped at its limit.", fixed(s.plan.GetBound(), 0))
}

// course says what to steer and what wind that makes.
func (s *planSheet) course() {
	s.heading("COURSE AND WIND", "")
	if ship := s.plan.GetShip(); ship != nil {
		s.labelled(toneTitle, "Steer", toneTitle, bearing(ship.GetCourseDeg())+" true at "+s.measured(speed, ship.GetSpeedMps()), 12)
	}
	s.windOverDeck(s.plan.GetWind(), s.plan.GetShip() == nil)
	s.airState(s.plan.GetAir())
}

func (s *planSheet) launches() {
	if len(s.plan.GetLaunches()) == 0 {
		return
	}
	s.heading("LAUNCHES", fmt.Sprintf("runs in %s, speeds in %s, mass in %s", s.unit(length), s.unit(speed), s.unit(mass)))
	t := table{columns: []column{
		{head: "#", right: true, rank: 4},
		{head: "Time", under: "UTC", right: true, rank: 1},
		{head: "Sortie", least: 10},
		{head: "Type", rank: 7, least: 10},
		{head: "Mass", right: true, rank: 8},
		{head: "Spot", least: 4, rank: 2},
		{head: "Run", under: "avail", right: true, rank: 5},
		{head: "Units", under: "and lot", least: 8},
		{head: "Fired", under: "at", right: true},
		{head: "Cue", under: "speed", right: true, rank: 9},
		{head: "Cue", under: "mark", right: true, rank: 10},
		{head: "Run", right: true, rank: 6},
		{head: "Run", under: "req'd", right: true},
		{head: "Margin", right: true},
		{head: "Least", under: "wind", right: true},
		{head: "If", under: "fails", least: 5, rank: 3},
		{head: "Outcome", least: 8},
	}}
	if s.start.IsZero() {
		t.columns[1].under = "start"
	}
	for _, l := range s.plan.GetLaunches() {
		t.row(s.launch(l)...)
	}
	s.table(t)
	if slices.ContainsFunc(s.plan.GetLaunches(), func(l *bowrollv1.PlannedLaunch) bool {
		return figure.Legs(l.GetTakeoff().GetFailures()) == figure.Mixed
	}) {
		s.paragraph(toneQuiet, "If fails, mixed: stop or go, as the failure is; the card says which.", 0)
	}
	if text := s.late(); text != "" {
		s.paragraph(toneCare, text, 0)
	}
}

// goes is when a launch can go: as planned, or later where the work on deck takes
// longer.
func (s *planSheet) goes(l *bowrollv1.PlannedLaunch) float64 {
	for _, task := range s.plan.GetTimeline().GetTasks() {
		if task.GetSortie() == l.GetSortie() && !task.GetHeld() {
			return task.GetLaunchS()
		}
	}
	return l.GetLaunchS()
}

// late says which launches go later than planned, and by how much.
func (s *planSheet) late() string {
	var parts []string
	for _, task := range s.plan.GetTimeline().GetTasks() {
		if task.GetDelayS() >= 30 && !task.GetHeld() && !task.GetMisfired() {
			parts = append(parts, fmt.Sprintf("%s by %.0f min", clean(task.GetSortie()), math.Ceil(task.GetDelayS()/60)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "Later than planned, for the work on deck: " + strings.Join(parts, ", ") + "."
}

// launch is the row of one launch.
func (s *planSheet) launch(l *bowrollv1.PlannedLaunch) []cell {
	off := l.GetTakeoff()
	if off == nil {
		off = &bowrollv1.Takeoff{}
	}
	sortie := s.sorties[l.GetSortie()]
	cue := off.GetFiring().GetCue()
	fire := none
	if off.GetFiring() != nil {
		fire = firing(off.GetFiring())
	}
	leg := figure.Legs(off.GetFailures())
	if leg == none && l.Leg != nil { // the answer carries no failures
		leg = word(l.GetLeg())
	}
	margin := cell{text: s.givenNumber(length, off.MarginM)}
	if result := outcome(off.GetOutcome()); result.tone != toneGood {
		margin.tone = result.tone
	}
	speedAt, mark := none, none
	if cue != nil {
		speedAt, mark = s.givenNumber(speed, cue.AirspeedMps), s.givenNumber(length, cue.DistanceM)
	}
	massText := none
	if sortie != nil {
		massText = s.givenNumber(mass, sortie.GrossMassKg)
	}
	return []cell{
		{text: digits(int(l.GetOrder()))},
		{text: clock(s.start, s.goes(l))},
		{text: clean(l.GetSortie()), tone: toneTitle},
		{text: typeOf(sortie)},
		{text: massText},
		{text: orNone(l.GetSpot())},
		{text: s.givenNumber(length, off.AvailableM)},
		{text: draws(l.GetDraws())},
		{text: fire},
		{text: speedAt},
		{text: mark},
		{text: s.givenNumber(length, off.RunM)},
		{text: s.givenNumber(length, off.RequiredRunM)},
		margin,
		{text: s.leastFound(speed, l.GetLeastHeadwindMps())},
		{text: leg},
		outcome(off.GetOutcome()),
	}
}

// typeOf names the aircraft type of a sortie.
func typeOf(sortie *bowrollv1.Sortie) string {
	switch {
	case sortie.GetAircraftType() != "":
		return short(sortie.GetAircraftType())
	case sortie.GetAircraft().GetDisplayName() != "":
		return clean(sortie.GetAircraft().GetDisplayName())
	}
	return none
}

// firing says when the units are fired.
func firing(f *bowrollv1.FiringUsed) string {
	switch f.GetMode() {
	case bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES:
		return "brakes"
	case bowrollv1.FiringMode_FIRING_MODE_ROLLING:
		return given(f.DelayS, seconds)
	}
	return word(f.GetMode())
}

// draws says how many units come from which lots.
func draws(list []*bowrollv1.Draw) string {
	if len(list) == 0 {
		return "none"
	}
	parts := make([]string, len(list))
	for i, d := range list {
		parts[i] = digits(int(d.GetUnitCount())) + hold + clean(d.GetLot())
	}
	return strings.Join(parts, " + ")
}
