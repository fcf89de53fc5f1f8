package sheet

import (
	"fmt"
	"io"
	"strings"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Plan draws the plan of a cycle: what goes, on which course, what to beware
// of, then each launch, what is held and why, and the stock after. cycle is the
// request that was planned, for names, masses and times of day; it may be nil.
func Plan(w io.Writer, style Style, cycle *bowrollv1.Cycle, plan *bowrollv1.CyclePlan) error {
	s := &planSheet{page: newPage(style), plan: plan, cycle: cycle, sorties: map[string]*bowrollv1.Sortie{}}
	for _, sortie := range cycle.GetSorties() {
		s.sorties[sortie.GetId()] = sortie
	}
	if cycle.GetStartTime() != nil {
		s.start = cycle.GetStartTime().AsTime()
	}
	s.headline()
	s.course()
	cautions := gather(plan)
	s.warnings(cautions)
	s.launches()
	s.held()
	s.stock()
	s.cautions("CAUTIONS", without(cautions, bowrollv1.Severity_SEVERITY_WARNING))
	s.provenance(plan.GetProvenance())
	return s.write(w)
}

type planSheet struct {
	*page
	plan    *bowrollv1.CyclePlan
	cycle   *bowrollv1.Cycle
	sorties map[string]*bowrollv1.Sortie
	start   time.Time
}

// headline says in three lines what a planner asks first: how many go, who does
// not, and what is left.
func (s *planSheet) headline() {
	title, aside := s.cycle.GetDisplayName(), ""
	if title == "" {
		title = s.plan.GetId()
	}
	if deck := s.cycle.GetDeck(); deck != "" {
		parts := strings.Split(deck, "/")
		aside = strings.Join([]string{parts[1], parts[len(parts)-1], "deck"}, " ")
	}
	if !s.start.IsZero() {
		aside += s.start.UTC().Format("  2 Jan 2006 15:04 UTC")
	}
	s.heading(strings.ToUpper(clean(title)), aside)

	go_, held := len(s.plan.GetLaunches()), len(s.plan.GetHeld())
	if held == 0 {
		s.paragraph(toneGood, fmt.Sprintf("All %d launch.", go_), 0)
	} else {
		var ids []string
		for _, h := range s.plan.GetHeld() {
			ids = append(ids, h.GetSortie())
		}
		tone := toneCare
		if go_ == 0 {
			tone = toneBad
		}
		s.paragraph(tone, fmt.Sprintf("%d of %d launch; %d held: %s.", go_, go_+held, held, strings.Join(ids, ", ")), 0)
	}
	s.paragraph(tonePlain, s.proof(), 0)
}

// proof says what the plan costs and what is known of it.
func (s *planSheet) proof() string {
	used, after := 0, 0
	for _, l := range s.plan.GetLots() {
		used += int(l.GetUsedCount())
		after += int(l.GetAfterCount())
	}
	text := fmt.Sprintf("%s used, %d left. ", plural(used, "unit", "units"), after)
	if s.plan.GetOptimal() {
		return text + fmt.Sprintf("Proven: no plan launches more priority than this one's %d, and none as much with fewer units.",
			s.plan.GetObjective().GetPriorityLaunched())
	}
	return text + fmt.Sprintf("NOT PROVEN best: priority %d launched, at most %s possible; the search stopped at its limit.",
		s.plan.GetObjective().GetPriorityLaunched(), fixed(s.plan.GetBound(), 0))
}

// course says what to steer and what wind that makes.
func (s *planSheet) course() {
	s.heading("COURSE AND WIND", "")
	if ship := s.plan.GetShip(); ship != nil {
		s.labelled(toneTitle, "Steer", toneTitle, bearing(ship.GetCourseDeg())+" true at "+s.measured(speed, ship.GetSpeedMps()), 12)
	}
	s.windOverDeck(s.plan.GetWind())
	s.airState(s.plan.GetAir())
}

func (s *planSheet) launches() {
	if len(s.plan.GetLaunches()) == 0 {
		return
	}
	s.heading("LAUNCHES", fmt.Sprintf("runs in %s, speeds in %s, mass in %s", s.unit(length), s.unit(speed), s.unit(mass)))
	t := table{columns: []column{
		{head: "#", right: true},
		{head: "Time", under: "UTC", right: true, rank: 1},
		{head: "Sortie", least: 6},
		{head: "Type", rank: 3, least: 6},
		{head: "Mass", right: true, rank: 4},
		{head: "Spot", least: 4},
		{head: "Run", under: "avail", right: true},
		{head: "Units", under: "and lot", least: 8},
		{head: "Fire", right: true},
		{head: "Cue", under: "speed", right: true, rank: 5},
		{head: "Cue", under: "mark", right: true, rank: 6},
		{head: "Run", right: true},
		{head: "Run", under: "req'd", right: true},
		{head: "Margin", right: true},
		{head: "Least", under: "wind", right: true},
		{head: "Burn end to", under: "lift-off", right: true, rank: 7},
		{head: "Dud", under: "leg"},
		{head: "Outcome", least: 8},
	}}
	if s.start.IsZero() {
		t.columns[1].under = "start"
	}
	for _, l := range s.plan.GetLaunches() {
		t.row(s.launch(l)...)
	}
	s.table(t)
}

// launch is the row of one launch.
func (s *planSheet) launch(l *bowrollv1.PlannedLaunch) []cell {
	off := l.GetTakeoff()
	sortie := s.sorties[l.GetSortie()]
	cue := off.GetFiring().GetCue()
	fire, burn := none, none
	if off.GetFiring() != nil {
		fire = firing(off.GetFiring())
		if off.GetClimb() != nil {
			burn = given(off.Climb.BurnEndMinusLiftoffS, func(v float64) string { return fmt.Sprintf("%+.1f s", v) })
		}
	}
	leg := none
	if l.Leg != nil {
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
		{text: clock(s.start, l.GetLaunchS())},
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
		{text: s.limit(speed, l.GetLeastHeadwindMps())},
		{text: burn},
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
		parts[i] = digits(int(d.GetUnitCount())) + " " + clean(d.GetLot())
	}
	return strings.Join(parts, " + ")
}
