// Package cyclesheet sets the plan of a launch cycle for paper, screen and text:
// what goes and what is held, the course and the wind, the work on deck as bars,
// the stock before and after, what other conditions would change, and the
// cautions.
//
// It knows the service's answers and computes no physics. It reads as well as a
// photocopy: nothing is said by colour.
package cyclesheet

import (
	"fmt"
	"strings"
	"time"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A Sheet is what a cycle sheet is made from.
type Sheet struct {
	Cycle *bowrollv1.Cycle
	Plan  *bowrollv1.CyclePlan
	// Variants are the plan under other conditions, the plan as it is first; fewer
	// than two leave the strip out.
	Variants []Variant
	Units    quantity.System
}

// A Variant is the plan under other conditions.
type Variant struct {
	Name                         string
	Launched, Priority, UnitsOut int
	Besides, Dropped             []string // against the first
	Proven                       bool
}

// notice is said on every sheet.
const notice = "Results advise. The approved flight manual, the ordnance instructions for the unit, local codes and the officers and licensed people responsible decide. Nothing is reserved or fired by this sheet."

// Document sets the sheet.
func (s Sheet) Document() paper.Document {
	start := s.start()
	name := s.Cycle.GetDisplayName()
	if name == "" {
		name = s.Plan.GetId()
	}
	from := s.Plan.GetProvenance()
	page := paper.Page{
		Name: name, Aside: start.Format("2 Jan 2006  15:04") + " UTC", Flows: true,
		Under: "Cycle " + s.Plan.GetId() + "  |  " + deckName(s.Cycle.GetDeck()) + "  |  " + s.proof(),
		Foot: []string{notice, fmt.Sprintf("Model %s, data %s, request %s.", from.GetModelVersion(), from.GetCatalogRevision(),
			from.GetRequestDigest())},
	}
	add := func(cells ...paper.Cell) {
		if len(cells) > 0 && len(cells[0].Blocks) > 0 {
			page.Rows = append(page.Rows, cells)
		}
	}
	add(s.summary())
	serious, lesser := s.cautions()
	add(serious)
	add(s.picture(), s.wind())
	add(s.launches())
	add(s.held())
	add(lesser) // on the sheet that the launches are on
	add(s.stock())
	for _, part := range s.timeline() {
		add(part)
	}
	add(s.whatIf())
	return paper.Document{Title: "Cycle sheet: " + s.Plan.GetId(), Dated: start, Pages: []paper.Page{page}}
}

func (s Sheet) start() time.Time { return s.Cycle.GetStartTime().AsTime().UTC() }

// deckName turns sites/varrow/decks/main into words.
func deckName(name string) string {
	if parts := strings.Split(name, "/"); len(parts) == 4 {
		return parts[1] + ", " + parts[3] + " deck"
	}
	return name
}

func (s Sheet) proof() string {
	if s.Plan.GetOptimal() {
		return "proven best: no plan launches more, or as much with fewer units"
	}
	return "NOT proven best: priority up to " + figure.Fixed(s.Plan.GetBound(), 0) + " might be launched"
}

func (s Sheet) measured(m figure.Measure, v float64) string { return figure.Measured(s.Units, m, v) }
func (s Sheet) unit(m figure.Measure) string                { return figure.Unit(s.Units, m) }
func (s Sheet) number(m figure.Measure, v *float64) string {
	return figure.Given(v, func(v float64) string { return figure.Number(s.Units, m, v) })
}

func (s Sheet) sortie(id string) *bowrollv1.Sortie {
	for _, sortie := range s.Cycle.GetSorties() {
		if sortie.GetId() == id {
			return sortie
		}
	}
	return &bowrollv1.Sortie{}
}

// summary is the numbers that a planner asks first.
func (s Sheet) summary() paper.Cell {
	off, held := len(s.Plan.GetLaunches()), len(s.Plan.GetHeld())
	asked, used, left := int(s.Plan.GetObjective().GetPriorityLaunched()), 0, 0
	for _, h := range s.Plan.GetHeld() {
		asked += int(h.GetPriority())
	}
	for _, l := range s.Plan.GetLots() {
		used += int(l.GetUsedCount())
		if l.GetBarred() == "" { // what may not be used is not left
			left += int(l.GetAfterCount())
		}
	}
	list := []paper.Figure{
		{Label: "Launch", Value: fmt.Sprint(off), Unit: fmt.Sprintf("of %d, %d held", off+held, held)},
		{Label: "Priority launched", Value: fmt.Sprint(s.Plan.GetObjective().GetPriorityLaunched()), Unit: fmt.Sprintf("of %d", asked)},
		{Label: "Units used", Value: fmt.Sprint(used), Unit: fmt.Sprintf("leaves %d usable", left)},
	}
	if ship := s.Plan.GetShip(); ship != nil {
		list = append(list, paper.Figure{Label: "Steer", Value: strings.TrimSuffix(figure.Bearing(ship.GetCourseDeg()), " deg"),
			Unit: "deg true at " + s.measured(figure.Speed, ship.GetSpeedMps())})
	}
	if wind := s.Plan.GetWind(); wind != nil {
		list = append(list, paper.Figure{Label: "Headwind, credited", Value: figure.Number(s.Units, figure.Speed, wind.GetCreditedHeadwindMps()),
			Unit: s.unit(figure.Speed) + ", on the " + wind.GetPlannedOn()})
	}
	if off > 0 {
		first, last := s.goes(s.Plan.GetLaunches()[0]), s.goes(s.Plan.GetLaunches()[off-1])
		list = append(list, paper.Figure{Label: "First launch", Value: figure.Clock(s.start(), first), Unit: "UTC, last " + figure.Clock(s.start(), last)})
	}
	return paper.Cell{Blocks: []paper.Block{paper.Figures{List: list}}}
}
