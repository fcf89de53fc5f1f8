package timeline

import (
	"fmt"
	"math"
	"strings"

	"bowroll/perf/allocate"
)

// A Deck is what there is to work with. Times are in seconds.
type Deck struct {
	StartS int64 // no work before this

	Teams            int   // fitting teams
	TeamsPerAircraft int   // that share one aircraft; 0 means 1
	Bays             int   // aircraft that can be worked on side by side; 0 means no limit
	UnitS            int64 // one team, one unit
	CircuitTestS     int64 // after fitting, in the bay, by the same teams
	HoldMinS         int64 // from the end of the test to launch, at least
	HoldMaxS         int64 // from the start of fitting to launch, at most; 0 means no limit

	IgniterS      int64 // fitting the igniters of one aircraft, at the launch point
	IgniterLimitS int64 // igniters are in at most this long before release; 0 means no limit

	IntervalS      int64 // least time between launches
	DeckClearS     int64 // until the launch point is free again
	ExhaustSettleS int64
	WindReadS      int64

	// Windows are when launches may go (wind, daylight, emitters silent), in order
	// and apart; none means always. What finds no window is held.
	Windows []Window

	TurnS    int64   // ship turning into wind
	SteadyS  int64   // ship steady before the first launch
	ReserveS int64   // kept in hand after the last
	SpeedMPS float64 // of the ship
	// SeaRoomM is the sea there is; 0 means that it is no limit.
	SeaRoomM float64
}

// interval is the least time between two launches, the second with or without
// igniters to fit.
func (d *Deck) interval(units int) int64 {
	n := max(d.IntervalS, d.DeckClearS, d.ExhaustSettleS, d.WindReadS)
	if units > 0 {
		n = max(n, d.DeckClearS+d.IgniterS)
	}
	return n
}

func (d *Deck) together() int { return min(max(1, d.TeamsPerAircraft), max(1, d.Teams)) }

// work is how long an aircraft with so many units is in a bay.
func (d *Deck) work(units int) int64 {
	if units == 0 {
		return 0
	}
	w := int64(d.together())
	return (int64(units)+w-1)/w*d.UnitS + d.CircuitTestS
}

// A Window is open from FromS to ToS, both included.
type Window struct{ FromS, ToS int64 }

// open is the first moment from at on in a window, or false.
func (d *Deck) open(at int64) (int64, bool) {
	if len(d.Windows) == 0 {
		return at, true
	}
	for _, w := range d.Windows {
		if at <= w.ToS {
			return max(at, w.FromS), true
		}
	}
	return 0, false
}

// An Item is one launch.
type Item struct {
	ID      string
	Units   int
	LaunchS int64 // planned; it may go later, never earlier
}

// A Misfire stops the launch of one item.
type Misfire struct {
	Item  int   // index
	WaitS int64 // waiting time of the unit type before anyone may approach
}

// An InvalidError lists everything wrong with a deck, its items and misfires.
type InvalidError struct{ Violations []string }

func (e *InvalidError) Error() string {
	return fmt.Sprintf("timeline: %d violations\n  %s", len(e.Violations), strings.Join(e.Violations, "\n  "))
}

const (
	mostS     = 100_000_000 // any duration
	mostItems = allocate.MaxSorties
)

func validate(d *Deck, items []Item, misfires []Misfire) error {
	var found []string
	fail := func(path string, value any, rule string) {
		found = append(found, fmt.Sprintf("%s is %v: %s", path, value, rule))
	}
	for _, f := range []struct {
		name  string
		value int64
	}{
		{"UnitS", d.UnitS}, {"CircuitTestS", d.CircuitTestS}, {"HoldMinS", d.HoldMinS}, {"HoldMaxS", d.HoldMaxS},
		{"IgniterS", d.IgniterS}, {"IgniterLimitS", d.IgniterLimitS}, {"IntervalS", d.IntervalS}, {"DeckClearS", d.DeckClearS},
		{"ExhaustSettleS", d.ExhaustSettleS}, {"WindReadS", d.WindReadS}, {"TurnS", d.TurnS}, {"SteadyS", d.SteadyS},
		{"ReserveS", d.ReserveS}, {"Teams", int64(d.Teams)}, {"TeamsPerAircraft", int64(d.TeamsPerAircraft)}, {"Bays", int64(d.Bays)},
	} {
		if f.value < 0 || f.value > mostS {
			fail("Deck."+f.name, f.value, fmt.Sprintf("must be from 0 to %d", mostS))
		}
	}
	if d.HoldMaxS > 0 && d.HoldMaxS < d.HoldMinS {
		fail("Deck.HoldMaxS", d.HoldMaxS, fmt.Sprintf("must be 0 or at least HoldMinS (%d)", d.HoldMinS))
	}
	if d.IgniterLimitS > 0 && d.IgniterS > d.IgniterLimitS {
		fail("Deck.IgniterS", d.IgniterS, fmt.Sprintf("must be at most IgniterLimitS (%d): igniters would be in too long before release", d.IgniterLimitS))
	}
	for k, w := range d.Windows {
		path := fmt.Sprintf("Deck.Windows[%d]", k)
		if w.ToS < w.FromS {
			fail(path+".ToS", w.ToS, fmt.Sprintf("must be at least FromS (%d): the window never opens", w.FromS))
		}
		if k > 0 && w.FromS <= d.Windows[k-1].ToS {
			fail(path+".FromS", w.FromS, fmt.Sprintf("must be after the window before closes (%d)", d.Windows[k-1].ToS))
		}
	}
	if math.Abs(float64(d.StartS)) > allocate.MaxTimeS {
		fail("Deck.StartS", d.StartS, fmt.Sprintf("must be from %d to %d", -allocate.MaxTimeS, allocate.MaxTimeS))
	}
	for _, f := range []struct {
		name  string
		value float64
	}{{"SpeedMPS", d.SpeedMPS}, {"SeaRoomM", d.SeaRoomM}} {
		if !(f.value >= 0 && f.value < 1e9) {
			fail("Deck."+f.name, f.value, "must be a number from 0 to below 1e9")
		}
	}
	if len(items) > mostItems {
		fail("len(items)", len(items), fmt.Sprintf("must be at most %d", mostItems))
	}
	for i, it := range items {
		path := fmt.Sprintf("items[%d]", i)
		if it.Units < 0 || it.Units > 1000 {
			fail(path+".Units", it.Units, "must be from 0 to 1000")
		}
		if it.Units > 0 && d.Teams == 0 {
			fail(path+".Units", it.Units, "must be 0 with no team to fit them (Deck.Teams)")
		}
		if math.Abs(float64(it.LaunchS)) > allocate.MaxTimeS {
			fail(path+".LaunchS", it.LaunchS, fmt.Sprintf("must be from %d to %d", -allocate.MaxTimeS, allocate.MaxTimeS))
		}
		if i > 0 && it.LaunchS < items[i-1].LaunchS {
			fail(path+".LaunchS", it.LaunchS, fmt.Sprintf("items come in launch order; the one before launches at %d", items[i-1].LaunchS))
		}
	}
	seen := map[int]bool{}
	for k, m := range misfires {
		path := fmt.Sprintf("misfires[%d]", k)
		switch {
		case m.Item < 0 || m.Item >= len(items):
			fail(path+".Item", m.Item, fmt.Sprintf("must be from 0 to %d", len(items)-1))
		case seen[m.Item]:
			fail(path+".Item", m.Item, "misfires twice")
		case items[m.Item].Units == 0:
			fail(path+".Item", m.Item, "has no units to misfire")
		}
		seen[m.Item] = true
		if m.WaitS < 0 || m.WaitS > mostS {
			fail(path+".WaitS", m.WaitS, fmt.Sprintf("must be from 0 to %d", mostS))
		}
	}
	if found != nil {
		return &InvalidError{found}
	}
	return nil
}

// Items are the launches that a result plans at one site, in the order in which
// they go.
func Items(p *allocate.Problem, r *allocate.Result, site int) []Item {
	var out []Item
	for _, l := range allocate.Launches(p, r.Choices) {
		if l.Site == site {
			out = append(out, Item{ID: p.Sorties[l.Sortie].ID, Units: l.Units, LaunchS: l.LaunchS})
		}
	}
	return out
}
