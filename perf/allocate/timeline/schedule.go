package timeline

import (
	"math"
	"slices"
)

// A Schedule is the work of a deck for one cycle.
type Schedule struct {
	Tasks []Task // one for each item, in launch order
	// Critical is what stands in the way of an earlier end: "crews", "bays",
	// "deck" (launch interval, igniters), "misfire", "window", "plan" (nothing: launches go
	// when planned) or "sea room" (there is less than needed).
	Critical string
	// SpanS is from the first launch to the last.
	SpanS int64
	// TurnS is the latest time to begin the turn into wind.
	TurnS int64
	// SeaRoomM is the sea used, speed * (turn + steady + span + reserve).
	SeaRoomM float64
	Cautions []string
}

// A Task is what happens to one aircraft.
type Task struct {
	ID    string
	Units int
	Teams []int // that fit it, counted from 0; empty without units
	Bay   int   // counted from 0; -1 without units

	FitS  int64 // fitting starts
	TestS int64 // circuit test starts
	DoneS int64 // fitting and test are over
	// LatestFitS is how late fitting can start, on any free team, with no launch of
	// the schedule later than it is; SlackS is that less FitS.
	LatestFitS, SlackS int64

	IgniterS int64 // igniters start: as late as can be
	LaunchS  int64 // or, for a misfire, when it should have gone
	DelayS   int64 // launch less planned launch
	// Waits names what the launch waited for last: "plan", "crews", "bays", "deck",
	// "misfire" or "window".
	Waits    string
	Misfired bool
	// Held: no window is open once it could go; its teams and bay are left to others.
	Held bool
	// OverHoldS is by how much the time from fitting to launch is over HoldMaxS.
	OverHoldS int64
}

// Plan schedules items on a deck. It returns an *InvalidError listing every
// violation.
func Plan(d Deck, items []Item, misfires []Misfire) (*Schedule, error) {
	if err := validate(&d, items, misfires); err != nil {
		return nil, err
	}
	s := &Schedule{Tasks: make([]Task, len(items))}
	s.forward(&d, items, misfires)
	s.backward(&d)
	s.sum(&d)
	return s, nil
}

// forward lets every aircraft be fitted as soon as it may and launched as soon as
// it can, in launch order: with release and due times in the same order that is
// the best order for equal jobs.
func (s *Schedule) forward(d *Deck, items []Item, misfires []Misfire) {
	wait := map[int]int64{}
	for _, m := range misfires {
		wait[m.Item] = m.WaitS
	}
	teams := newFree(d.Teams, d.StartS)
	bays := newFree(d.Bays, d.StartS)
	if d.Bays == 0 {
		bays = newFree(len(items), d.StartS)
	}
	next, held := int64(math.MinInt64/4), false // when the deck is ready, and if a misfire holds it
	launched := false
	for i, it := range items {
		t := &s.Tasks[i]
		crewsBefore, baysBefore := slices.Clone(teams.until), slices.Clone(bays.until)
		*t = Task{ID: it.ID, Units: it.Units, Bay: -1}
		ready, short := int64(math.MinInt64/4), ""
		if it.Units > 0 {
			ready, short = s.fit(d, it, t, teams, bays)
		}
		t.LaunchS, t.Waits = it.LaunchS, "plan"
		if ready > t.LaunchS {
			t.LaunchS, t.Waits = ready, short
		}
		if launched {
			deck := next + d.interval(it.Units)
			if held {
				deck = next
				if it.Units > 0 {
					deck += d.IgniterS
				}
			}
			if deck > t.LaunchS {
				t.LaunchS, t.Waits = deck, "deck"
				if held {
					t.Waits = "misfire"
				}
			}
		} else if it.Units > 0 && t.DoneS+d.IgniterS > t.LaunchS {
			t.LaunchS, t.Waits = t.DoneS+d.IgniterS, "deck"
		}
		open, ok := d.open(t.LaunchS)
		if !ok {
			*t = Task{ID: it.ID, Units: it.Units, Bay: -1, Held: true, Waits: "window"}
			teams.until, bays.until = crewsBefore, baysBefore
			continue
		}
		if launched = true; open > t.LaunchS {
			t.LaunchS, t.Waits = open, "window"
		}
		t.DelayS = t.LaunchS - it.LaunchS
		if it.Units > 0 {
			t.IgniterS = t.LaunchS - d.IgniterS
			if d.HoldMaxS > 0 {
				t.OverHoldS = max(0, t.LaunchS-t.FitS-d.HoldMaxS)
			}
		}
		next, held = t.LaunchS, false
		if w, ok := wait[i]; ok {
			t.Misfired, held = true, true
			next = t.LaunchS + w + d.DeckClearS
		}
	}
}

// fit books teams and a bay for an aircraft; it returns when it can launch and
// what it waited for, if anything.
func (s *Schedule) fit(d *Deck, it Item, t *Task, teams, bays *free) (ready int64, short string) {
	from := d.StartS
	if d.HoldMaxS > 0 {
		from = max(from, it.LaunchS-d.HoldMaxS)
	}
	crew, atCrew := teams.first(d.together())
	bay, atBay := bays.first(1)
	t.FitS = max(from, atCrew, atBay)
	short = "crews"
	if atBay > max(from, atCrew) {
		short = "bays"
	}
	t.DoneS = t.FitS + d.work(it.Units)
	t.TestS = t.DoneS - d.CircuitTestS
	t.Teams, t.Bay = crew, bay[0]
	for _, c := range crew {
		teams.until[c] = t.DoneS
	}
	bays.until[bay[0]] = t.DoneS
	return t.DoneS + max(d.HoldMinS, d.IgniterS), short
}

// backward finds how late each fitting can start: from the last launch to the
// first, teams and bays taken as late as they are free.
func (s *Schedule) backward(d *Deck) {
	const never = math.MaxInt64 / 4
	teams, bays := newFree(d.Teams, -never), newFree(d.Bays, -never)
	if d.Bays == 0 {
		bays = newFree(len(s.Tasks), -never)
	}
	for i := len(s.Tasks) - 1; i >= 0; i-- {
		t := &s.Tasks[i]
		if t.Units == 0 || t.Held {
			continue
		}
		// Time runs backward here: until holds minus the time work begins.
		crew, atCrew := teams.first(d.together())
		bay, atBay := bays.first(1)
		end := min(t.LaunchS-max(d.HoldMinS, d.IgniterS), -atCrew, -atBay)
		t.LatestFitS = max(t.FitS, end-d.work(t.Units))
		t.SlackS = t.LatestFitS - t.FitS
		for _, c := range crew {
			teams.until[c] = -t.LatestFitS
		}
		bays.until[bay[0]] = -t.LatestFitS
	}
}

// sum fills in what concerns the whole cycle.
func (s *Schedule) sum(d *Deck) {
	s.Critical = "plan"
	var gone []*Task
	for i := range s.Tasks {
		if !s.Tasks[i].Held {
			gone = append(gone, &s.Tasks[i])
		}
	}
	if len(gone) < len(s.Tasks) {
		s.Critical = "window"
		s.Cautions = append(s.Cautions, "some aircraft find no open window and are held")
	}
	if len(gone) == 0 {
		return
	}
	first, last := gone[0], gone[len(gone)-1]
	s.SpanS = last.LaunchS - first.LaunchS
	s.TurnS = first.LaunchS - d.SteadyS - d.TurnS
	s.SeaRoomM = d.SpeedMPS * float64(d.TurnS+d.SteadyS+s.SpanS+d.ReserveS)
	// The last launch that waited for something other than the deck behind it says
	// what the chain of launches up to the end hangs on.
	for i := len(gone) - 1; i >= 0 && len(gone) == len(s.Tasks); i-- {
		if w := gone[i].Waits; w != "deck" || i == 0 {
			s.Critical = w
			if w == "plan" && last.DelayS > 0 {
				s.Critical = "deck"
			}
			break
		}
	}
	over := 0
	for _, t := range s.Tasks {
		if t.OverHoldS > 0 {
			over++
		}
	}
	if over > 0 {
		s.Cautions = append(s.Cautions, "units of some aircraft would be on longer than the hold limit: fit them later or take them off")
	}
	if d.SeaRoomM > 0 && s.SeaRoomM > d.SeaRoomM {
		s.Critical = "sea room"
		s.Cautions = append(s.Cautions, "the cycle needs more sea than there is")
	}
	if d.IgniterLimitS > 0 && s.Critical == "misfire" {
		s.Cautions = append(s.Cautions, "after a misfire, igniters already in behind it come out before the limit runs out")
	}
}

// free is a set of like resources and the times until which each is taken.
type free struct{ until []int64 }

func newFree(n int, at int64) *free {
	f := &free{until: make([]int64, n)}
	for k := range f.until {
		f.until[k] = at
	}
	return f
}

// first picks the n that are free soonest (the lowest numbered on a tie), and when
// all of them are.
func (f *free) first(n int) ([]int, int64) {
	order := make([]int, len(f.until))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case f.until[a] < f.until[b]:
			return -1
		case f.until[a] > f.until[b]:
			return 1
		}
		return 0
	})
	order = order[:n]
	return order, f.until[order[n-1]]
}
