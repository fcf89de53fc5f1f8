package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet/card"
	"bowroll/client/sheet/paper"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// cardFlags ask for launch cards.
type cardFlags struct {
	Cards    string `help:"Write a launch card for each sortie that launches, one to a page: .pdf, .html, .txt or .json." placeholder:"FILE" group:"Paper"`
	ValidFor string `help:"How long after its launch time a card holds, e.g. \"15 min\". Without it a card is void at its launch time." placeholder:"QUANTITY" group:"Paper"`
	Issued   string `help:"When the cards are issued (RFC 3339). Left to be written in by hand otherwise; no clock is read." placeholder:"TIME" group:"Paper"`
	IssuedBy string `help:"Who issues them." placeholder:"NAME" group:"Paper"`
	Revision *int   `help:"Revision of the cards." placeholder:"N" group:"Paper"`
}

// issue reads what the one who issues cards adds.
func (f cardFlags) issue() (card.Issue, error) {
	issue := card.Issue{Revision: f.Revision, By: f.IssuedBy}
	if f.Issued != "" {
		at, err := time.Parse(time.RFC3339, f.Issued)
		if err != nil {
			return issue, cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--issued"}, Value: f.Issued,
				Problem: "is not read as an instant", Allowed: "RFC 3339 with an offset", Hint: "e.g. --issued 2041-03-07T04:50:00Z"}}
		}
		at = at.UTC()
		issue.At = &at
	}
	if f.ValidFor != "" {
		seconds, err := quantity.Parse(quantity.Time, f.ValidFor)
		if err != nil || seconds < 0 || seconds > 86400 {
			return issue, cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--valid-for"}, Value: f.ValidFor,
				Problem: "is not read as a time", Allowed: "0 to 24 h", Hint: `e.g. --valid-for "15 min"`}}
		}
		issue.ValidFor = time.Duration(seconds * float64(time.Second))
	}
	return issue, nil
}

// cardSections is all that a card says about a launch.
var cardSections = []bowrollv1.Section{
	bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_BEST_FIRING, bowrollv1.Section_SECTION_CHANCE,
	bowrollv1.Section_SECTION_COMMIT, bowrollv1.Section_SECTION_CHECK_LINE, bowrollv1.Section_SECTION_EXHAUST,
	bowrollv1.Section_SECTION_BOX,
}

// cardSources asks for everything that the cards of a plan say.
func (p *program) cardSources(to *client.Client, asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan) ([]card.Sources, error) {
	library := &library{p: p, to: to, aircraft: map[string]*bowrollv1.AircraftType{}, boosters: map[string]*bowrollv1.BoosterType{}}
	deck, err := to.Catalog.GetDeck(p.ctx, &bowrollv1.GetDeckRequest{Name: asked.GetDeck()})
	if err != nil {
		return nil, err
	}
	sorties, lots := map[string]*bowrollv1.Sortie{}, map[string]*bowrollv1.Lot{}
	for _, s := range asked.GetSorties() {
		sorties[s.GetId()] = s
	}
	for _, l := range asked.GetLots() {
		lots[l.GetId()] = l
	}
	var list []card.Sources
	var cases []*bowrollv1.TakeoffCase
	for _, l := range plan.GetLaunches() {
		s := card.Sources{Cycle: asked, Plan: plan, Launch: l, Deck: deck, Boosters: map[string]*bowrollv1.BoosterType{}}
		sortie := sorties[l.GetSortie()]
		if s.Aircraft, err = library.aircraftOf(sortie); err != nil {
			return nil, err
		}
		for _, d := range l.GetDraws() {
			if s.Boosters[d.GetLot()], err = library.boosterOf(lots[d.GetLot()]); err != nil {
				return nil, err
			}
		}
		list, cases = append(list, s), append(cases, launchCase(asked, plan, l, sortie, lots))
	}
	if len(cases) == 0 {
		return list, nil
	}
	offs, err := p.takeoffs(to, cases)
	if err != nil {
		return nil, err
	}
	var again []*bowrollv1.TakeoffCase
	var which []int
	for i, off := range offs {
		planned := list[i].Launch.GetTakeoff()
		if !alike(off.RunM, planned.RunM) {
			return nil, fmt.Errorf("card of %s: the service answers the launch otherwise than its plan does; plan again", list[i].Launch.GetSortie())
		}
		list[i].Takeoff = off
		if at := p.earlierMark(off); at != nil {
			cases[i].CheckMarkM = at
			again, which = append(again, cases[i]), append(which, i)
		}
	}
	// A check is worth most where a stop still fits: the mark goes before the
	// commit point where the usual one lies behind it.
	if len(again) > 0 {
		if offs, err = p.takeoffs(to, again); err != nil {
			return nil, err
		}
		for n, off := range offs {
			list[which[n]].Takeoff = off
		}
	}
	for i := range list {
		// The firing was searched when the plan was made, and only then.
		list[i].Takeoff.BestFiring = list[i].Launch.GetTakeoff().GetBestFiring()
	}
	return list, nil
}

// takeoffs computes cases with all that a card says; all must be answered.
func (p *program) takeoffs(to *client.Client, cases []*bowrollv1.TakeoffCase) ([]*bowrollv1.Takeoff, error) {
	answer, err := to.Takeoffs.BatchCompute(p.ctx, &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases, Sections: cardSections})
	if err != nil {
		return nil, err
	}
	offs := make([]*bowrollv1.Takeoff, len(answer.GetItems()))
	for i, item := range answer.GetItems() {
		if item.GetTakeoff() == nil {
			return nil, fmt.Errorf("card of %s: %s", item.GetId(), item.GetStatus().GetMessage())
		}
		offs[i] = item.GetTakeoff()
	}
	return offs, nil
}

// earlierMark returns a mark before the commit point, at a whole ten feet or five
// metres, where no stop fits from the usual one; nil where that mark will do.
func (p *program) earlierMark(off *bowrollv1.Takeoff) *float64 {
	last := off.GetCommit().GetLit()
	if c := off.GetCheckLine(); c == nil || c.GetStopFits() || !last.GetExists() || last.DistanceM == nil {
		return nil
	}
	step := 3.048
	if p.style().Units == quantity.SI {
		step = 5
	}
	at := math.Floor(last.GetDistanceM()/step) * step
	if at <= 0 {
		return nil
	}
	return &at
}

// alike reports whether two answers give the same run.
func alike(a, b *float64) bool {
	return a != nil && b != nil && math.Abs(*a-*b) <= 1e-6*math.Abs(*b)
}

// launchCase is a launch of a plan as a case of its own, its firing held.
func launchCase(asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan, l *bowrollv1.PlannedLaunch, sortie *bowrollv1.Sortie, lots map[string]*bowrollv1.Lot) *bowrollv1.TakeoffCase {
	off := l.GetTakeoff()
	c := &bowrollv1.TakeoffCase{
		Id: l.GetSortie(), AircraftType: sortie.GetAircraftType(), Aircraft: sortie.GetAircraft(), Flap: sortie.GetFlap(),
		GrossMassKg: sortie.GrossMassKg, Air: asked.GetAir(), NaturalWind: asked.GetNaturalWind(), Ship: plan.GetShip(),
		Deck: asked.GetDeck(), Spot: l.GetSpot(), AvailableM: sortie.AvailableM, Policy: plan.GetPolicy(),
	}
	if len(l.GetDraws()) == 0 {
		return c
	}
	first := lots[l.GetDraws()[0].GetLot()]
	b := &bowrollv1.Boosters{BoosterType: first.GetBoosterType(), Type: first.GetType(), GrainTemperatureC: first.GrainTemperatureC, Firing: &bowrollv1.Firing{}}
	units := int32(0)
	for i, d := range l.GetDraws() {
		units += d.GetUnitCount()
		if i == 0 {
			continue
		}
		for _, station := range d.GetStations() {
			b.UnitTemperatures = append(b.UnitTemperatures, &bowrollv1.UnitTemperature{Station: station, GrainTemperatureC: lots[d.GetLot()].GrainTemperatureC})
		}
	}
	b.Count = &units
	b.Firing.Mode = off.GetFiring().GetMode()
	switch b.Firing.Mode {
	case bowrollv1.FiringMode_FIRING_MODE_ROLLING:
		b.Firing.DelayS = off.GetFiring().DelayS
	case bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES:
		b.Firing.ReactionS = off.GetFiring().ReactionS
	}
	c.Boosters = b
	return c
}

// A library asks for each type of the catalog once.
type library struct {
	p        *program
	to       *client.Client
	aircraft map[string]*bowrollv1.AircraftType
	boosters map[string]*bowrollv1.BoosterType
}

func (l *library) aircraftOf(s *bowrollv1.Sortie) (t *bowrollv1.AircraftType, err error) {
	name := s.GetAircraftType()
	if name == "" {
		return s.GetAircraft(), nil
	}
	if l.aircraft[name] == nil {
		l.aircraft[name], err = l.to.Catalog.GetAircraftType(l.p.ctx, &bowrollv1.GetAircraftTypeRequest{Name: name})
	}
	return l.aircraft[name], err
}

func (l *library) boosterOf(lot *bowrollv1.Lot) (t *bowrollv1.BoosterType, err error) {
	name := lot.GetBoosterType()
	if name == "" {
		return lot.GetType(), nil
	}
	if l.boosters[name] == nil {
		l.boosters[name], err = l.to.Catalog.GetBoosterType(l.p.ctx, &bowrollv1.GetBoosterTypeRequest{Name: name})
	}
	return l.boosters[name], err
}

// printCards makes the cards and writes them.
func (p *program) printCards(f cardFlags, sheets paperFlags, form string, sources []card.Sources, asked *bowrollv1.Cycle) error {
	issue, err := f.issue()
	if err != nil {
		return err
	}
	cards := make([]card.Card, len(sources))
	doc := paper.Document{Title: "Launch cards: " + asked.GetId(), Dated: asked.GetStartTime().AsTime().UTC()}
	for i, s := range sources {
		if cards[i], err = card.Build(s, issue); err != nil {
			return err
		}
		doc.Pages = append(doc.Pages, cards[i].Page(p.style().Units))
	}
	if form == "json" {
		return writeFile(f.Cards, func(w io.Writer) error {
			out := json.NewEncoder(w)
			out.SetIndent("", "  ")
			return out.Encode(cards)
		})
	}
	if len(cards) == 0 {
		doc.Pages = []paper.Page{{Name: asked.GetId(), Stamp: "NO CARDS: NOTHING LAUNCHES"}}
	}
	return sheets.print(f.Cards, form, doc)
}
