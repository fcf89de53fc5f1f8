package timeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"

	"bowroll/perf/allocate"
	"pgregory.net/rapid"
)

// Planner case D39 of the vectors: 200 aircraft, a launch every 45 s, 6 minutes of
// fitting each, 4 crews, a ship at 14 kt. Figures from an independent computation.
func TestTwoHundredAircraft(t *testing.T) {
	const knot = 1852.0 / 3600
	d := Deck{Teams: 4, UnitS: 180, IntervalS: 45, SpeedMPS: 14 * knot}
	items := make([]Item, 200)
	for i := range items {
		items[i] = Item{ID: fmt.Sprint("a", i), Units: 2}
	}
	s, err := Measure(d, items)
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want, tolerance float64) {
		t.Helper()
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s is %v, want %v", what, got, want)
		}
	}
	near("deck span, min", float64(s.DeckS)/60, 149.25, 0.1)
	near("crew span, min", float64(s.CrewsS)/60, 294, 0.1)
	near("deck sea room, nmi", d.SeaRoomFor(s.DeckS)/1852, 34.8, 0.05)
	near("crew sea room, nmi", d.SeaRoomFor(s.CrewsS)/1852, 68.6, 0.05)
	near("teams to keep up", float64(s.TeamsToKeepUp), 8, 0)
	p, err := Plan(d, items, nil)
	if err != nil || p.Critical != "crews" {
		t.Errorf("critical is %q (%v), want crews", p.Critical, err)
	}
	if sooner, _ := OneMoreTeam(d, items, nil); sooner < 50*60 {
		t.Errorf("a fifth team brings the end forward by %d s, want about 58 min", sooner)
	}
}

func TestMisfireTimesThoseBehindAgain(t *testing.T) {
	d := Deck{Teams: 2, UnitS: 60, IntervalS: 60, DeckClearS: 30, IgniterS: 20, IgniterLimitS: 300, HoldMinS: 100}
	items := []Item{{"a", 2, 1000}, {"b", 2, 1060}, {"c", 2, 1120}, {"d", 0, 5000}}
	calm, err := Plan(d, items, nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Plan(d, items, []Misfire{{Item: 1, WaitS: 900}})
	if err != nil {
		t.Fatal(err)
	}
	want := []int64{1000, 1060, 1060 + 900 + 30 + 20, 5000}
	for i, w := range want {
		if s.Tasks[i].LaunchS != w {
			t.Errorf("%s launches at %d, want %d", items[i].ID, s.Tasks[i].LaunchS, w)
		}
		if calm.Tasks[i].LaunchS != items[i].LaunchS {
			t.Errorf("without a misfire %s launches at %d, planned %d", items[i].ID, calm.Tasks[i].LaunchS, items[i].LaunchS)
		}
	}
	if !s.Tasks[1].Misfired || s.Tasks[2].Waits != "misfire" || s.Tasks[3].DelayS != 0 {
		t.Errorf("tasks are %+v", s.Tasks)
	}
}

func TestWindowsHoldAndDelay(t *testing.T) {
	d := Deck{Teams: 1, UnitS: 100, IntervalS: 60, Windows: []Window{{0, 150}, {1000, 1100}}}
	items := []Item{{"a", 0, 100}, {"b", 0, 120}, {"c", 20, 300}, {"d", 0, 310}}
	s, err := Plan(d, items, nil)
	if err != nil {
		t.Fatal(err)
	}
	// b has to wait for the deck until 160, when the first window is shut; c is not
	// fitted before the second shuts, and d goes without waiting for it.
	if s.Tasks[0].LaunchS != 100 || s.Tasks[1].LaunchS != 1000 || s.Tasks[1].Waits != "window" || !s.Tasks[2].Held || s.Tasks[3].LaunchS != 1060 {
		t.Errorf("tasks are %+v", s.Tasks)
	}
	if s.Critical != "window" || len(s.Cautions) != 1 {
		t.Errorf("critical %q, cautions %q", s.Critical, s.Cautions)
	}
}

func TestPlanListsEveryViolation(t *testing.T) {
	_, err := Plan(Deck{UnitS: -1, HoldMinS: 50, HoldMaxS: 20, IgniterS: 30, IgniterLimitS: 10, SpeedMPS: math.NaN()},
		[]Item{{"a", 2, 100}, {"b", -1, 50}}, []Misfire{{Item: 7, WaitS: -1}})
	var invalid *InvalidError
	if !errors.As(err, &invalid) {
		t.Fatalf("error is %v", err)
	}
	if len(invalid.Violations) != 9 {
		t.Errorf("%d violations, want 9:\n%v", len(invalid.Violations), err)
	}
}

// The rules of the package comment hold for every schedule.
func TestScheduleKeepsItsRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		small := rapid.Int64Range(0, 300)
		d := Deck{
			Teams: rapid.IntRange(1, 4).Draw(t, "teams"), TeamsPerAircraft: rapid.IntRange(0, 2).Draw(t, "together"),
			Bays: rapid.IntRange(0, 3).Draw(t, "bays"), UnitS: small.Draw(t, "unit"), CircuitTestS: small.Draw(t, "test"),
			HoldMinS: small.Draw(t, "hold"), IgniterS: small.Draw(t, "igniter"), IntervalS: small.Draw(t, "interval"),
			DeckClearS: small.Draw(t, "clear"), WindReadS: small.Draw(t, "wind"), SpeedMPS: 7,
		}
		var items []Item
		at := int64(0)
		for i := range rapid.IntRange(0, 12).Draw(t, "items") {
			at += small.Draw(t, "gap")
			items = append(items, Item{fmt.Sprint(i), rapid.IntRange(0, 3).Draw(t, "units") * 2, at})
		}
		s, err := Plan(d, items, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range s.Tasks {
			if a.DelayS < 0 || a.SlackS < 0 {
				t.Fatalf("task %+v is early or has negative slack", a)
			}
			if i > 0 && a.LaunchS-s.Tasks[i-1].LaunchS < d.interval(a.Units) {
				t.Fatalf("tasks %+v and %+v launch too close", s.Tasks[i-1], a)
			}
			if a.Units == 0 {
				continue
			}
			if a.FitS < d.StartS || a.DoneS != a.FitS+d.work(a.Units) || a.DoneS+d.HoldMinS > a.LaunchS || a.IgniterS < a.DoneS {
				t.Fatalf("task %+v is out of order", a)
			}
			if i > 0 && a.IgniterS < s.Tasks[i-1].LaunchS+d.DeckClearS {
				t.Fatalf("igniters of %+v before the launch point is free", a)
			}
			for _, b := range s.Tasks[:i] {
				if b.Units == 0 || b.DoneS <= a.FitS || a.DoneS <= b.FitS {
					continue
				}
				if a.Bay == b.Bay {
					t.Fatalf("tasks %+v and %+v share a bay", a, b)
				}
				for _, x := range a.Teams {
					for _, y := range b.Teams {
						if x == y {
							t.Fatalf("tasks %+v and %+v share a team", a, b)
						}
					}
				}
			}
		}
		d.Teams++
		if more, err := Plan(d, items, nil); d.TeamsPerAircraft < 2 && len(items) > 0 {
			if err != nil || more.Tasks[len(items)-1].LaunchS > s.Tasks[len(items)-1].LaunchS {
				t.Fatalf("one more team makes it later: %v", err)
			}
		}
	})
}

func TestItemsOfAnAllocation(t *testing.T) {
	p := allocate.Generate(3, 20, 4, allocate.Medium)
	r, err := allocate.Solve(context.Background(), p, allocate.Options{})
	if err != nil {
		t.Fatal(err)
	}
	units := 0
	items := Items(p, r, 0)
	for _, it := range items {
		units += it.Units
	}
	if int64(units) != r.Objective.Units {
		t.Errorf("items have %d units, the plan %d", units, r.Objective.Units)
	}
	c := p.Sites[0].Crews
	if _, err := Plan(Deck{StartS: -10_000, Teams: c.Teams, UnitS: c.UnitS, HoldMinS: c.HoldMinS, HoldMaxS: c.HoldMaxS}, items, nil); err != nil {
		t.Error(err)
	}
}
