package rpc

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// asked plans a request on so many goroutines.
func asked(t *testing.T, req *bowrollv1.CyclesPlanRequest, workers int) *bowrollv1.CyclePlan {
	t.Helper()
	out, err := NewCycles(testValidator(t), testSnapshot(t), workers).Plan(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// parked is a queue whose sorties may trade four spots.
func parked() *bowrollv1.Cycle {
	c := testCycle()
	c.Groups = []*bowrollv1.SpotGroup{{Id: "park", Spots: []*bowrollv1.GroupSpot{{Spot: "s4"}, {Spot: "s5"}, {Spot: "s6"}, {Spot: "s7"}}}}
	c.Sorties = c.Sorties[:5]
	for i, s := range c.Sorties {
		s.Spot, s.Group = "", "park"
		if i < 4 {
			s.Spot = []string{"s7", "s6", "s5", "s4"}[i] // the lightest has the longest run
		}
	}
	return c
}

// worked has all that a timeline asks for.
func worked() *bowrollv1.Cycle {
	c := testCycle()
	c.DeckWork = &bowrollv1.DeckWork{
		BayCount: proto.Int32(2), CircuitTestS: proto.Float64(60), IgniterS: proto.Float64(40), IgniterLimitS: proto.Float64(600),
		IntervalS: proto.Float64(60), TurnS: proto.Float64(240), SteadyS: proto.Float64(300), SpareS: proto.Float64(600), SeaRoomM: proto.Float64(30000),
	}
	return c
}

// Every level of the objective is told with its bound, and the stages hold the
// values of those before them.
func TestLevelsAndStages(t *testing.T) {
	out := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: testCycle(), IncludeLp: true}, 2)
	if len(out.GetLevels()) != 4 || len(out.GetLpStages()) != 4 || !out.GetProofChecked() {
		t.Fatalf("%d levels, %d stages, proof checked %v", len(out.GetLevels()), len(out.GetLpStages()), out.GetProofChecked())
	}
	o := out.GetObjective()
	for i, want := range []float64{float64(o.GetPriorityLaunched()), float64(o.GetUnitsUsed()), float64(o.GetExpiryRank()), o.GetMarginM()} {
		l := out.GetLevels()[i]
		if l.GetValue() != want || !l.GetProven() || l.GetGap() != 0 || l.GetBound() != want {
			t.Errorf("level %d is %v, objective %v", i, l, o)
		}
	}
	if !strings.HasPrefix(out.GetLpStages()[0], "\\ stage 1") || !strings.Contains(out.GetLpStages()[3], "\\ stage 4") {
		t.Error("the stages are not in order")
	}
}

// A plan cut short says so, with bounds that hold.
func TestNodeLimitLeavesABound(t *testing.T) {
	whole := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: testCycle()}, 2)
	out := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: testCycle(), NodeLimit: proto.Int32(1)}, 2)
	if out.GetBound() < float64(whole.GetObjective().GetPriorityLaunched()) {
		t.Errorf("bound %v is below the best, %v", out.GetBound(), whole.GetObjective())
	}
	if out.GetGap() != out.GetBound()-float64(out.GetObjective().GetPriorityLaunched()) || out.GetNodeCount() > 1 {
		t.Errorf("gap %v, bound %v, nodes %d", out.GetGap(), out.GetBound(), out.GetNodeCount())
	}
	if out.GetOptimal() == slices.ContainsFunc(out.GetCautions(), func(c *bowrollv1.Caution) bool { return c.GetId() == "not-proven" }) {
		t.Error("a plan that is not proven has no caution, or the other way round")
	}
}

// Leaving out fits that fewer units make needless changes no plan.
func TestNeedlessFitsAreNeedless(t *testing.T) {
	for _, cycle := range []*bowrollv1.Cycle{testCycle(), parked(), worked()} {
		short := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: cycle}, 2)
		full := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: cycle, IncludeOptions: true}, 2)
		if !proto.Equal(short.GetObjective(), full.GetObjective()) {
			t.Errorf("objective %v, with every fit %v", short.GetObjective(), full.GetObjective())
		}
		for i, l := range short.GetLaunches() {
			if !slices.EqualFunc(l.GetDraws(), full.GetLaunches()[i].GetDraws(), func(a, b *bowrollv1.Draw) bool { return proto.Equal(a, b) }) {
				t.Errorf("%s has %v, with every fit %v", l.GetSortie(), l.GetDraws(), full.GetLaunches()[i].GetDraws())
			}
		}
	}
}

// Options carry a reason unless they were chosen, and one is chosen for a launch.
func TestOptionsHaveReasons(t *testing.T) {
	out := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: testCycle(), IncludeOptions: true}, 2)
	for _, l := range out.GetLaunches() {
		chosen := 0
		for _, o := range l.GetOptions() {
			if o.GetChosen() {
				chosen++
			} else if o.GetReason() == "" {
				t.Errorf("%s: no reason for %v", l.GetSortie(), o)
			}
		}
		if chosen != 1 {
			t.Errorf("%s: %d options chosen", l.GetSortie(), chosen)
		}
	}
	for _, h := range out.GetHeld() {
		if h.GetNearest() == nil || slices.ContainsFunc(h.GetOptions(), (*bowrollv1.FitOption).GetChosen) {
			t.Errorf("%s is held: nearest %v", h.GetSortie(), h.GetNearest())
		}
	}
}

// Spots are traded where that launches more or saves units, one aircraft a spot.
func TestSpotsAreTraded(t *testing.T) {
	out := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: parked()}, 2)
	r := out.GetRespotting()
	if r == nil || !out.GetOptimal() {
		t.Fatalf("respotting %v, optimal %v", r, out.GetOptimal())
	}
	at := map[string]string{}
	for _, l := range out.GetLaunches() {
		if other := at[l.GetSpot()]; l.GetSpot() == "" || other != "" {
			t.Errorf("%s and %q on spot %q", l.GetSortie(), other, l.GetSpot())
		}
		at[l.GetSpot()] = l.GetSortie()
	}
	if r.GetGiven() == nil || r.GetPriorityGained() < 0 || r.GetPriorityGained() == 0 && r.GetUnitsSaved() < 0 {
		t.Errorf("trading spots makes it worse: %v", r)
	}
	if r.GetPriorityGained() != out.GetObjective().GetPriorityLaunched()-r.GetGiven().GetPriorityLaunched() || len(r.GetMoves()) == 0 {
		t.Errorf("respotting %v, objective %v", r, out.GetObjective())
	}
	// Wings that would meet keep two wide aircraft off neighbouring spots.
	tight := parked()
	for _, pair := range [][2]string{{"s4", "s5"}, {"s5", "s6"}, {"s6", "s7"}} {
		tight.Groups[0].Neighbours = append(tight.Groups[0].Neighbours, &bowrollv1.SpotNeighbour{
			Spot: pair[0], Other: pair[1], CentreLinesM: proto.Float64(5), ClearanceM: proto.Float64(1),
		})
	}
	if apart := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: tight}, 2); len(apart.GetLaunches()) > 2 {
		t.Errorf("%d aircraft on four spots of which no neighbours may be taken", len(apart.GetLaunches()))
	}
}

func TestTimeline(t *testing.T) {
	req := &bowrollv1.CyclesPlanRequest{Cycle: worked()}
	out := asked(t, req, 2)
	line := out.GetTimeline()
	if len(line.GetTasks()) != len(out.GetLaunches()) || line.TurnStartS == nil || line.SeaUsedM == nil {
		t.Fatalf("timeline %v", line)
	}
	before := -1e9
	for i, task := range line.GetTasks() {
		l := out.GetLaunches()[i]
		if task.GetSortie() != l.GetSortie() || task.GetLaunchS() < l.GetLaunchS() || task.GetLaunchS() < before+60 {
			t.Errorf("task %v after %v", task, before)
		}
		before = task.GetLaunchS()
		if task.GetUnitCount() == 0 {
			continue
		}
		if task.GetIgniterStartS() != task.GetLaunchS()-40 || task.GetReadyS() > task.GetLaunchS()-300 || task.GetSlackS() != task.GetLatestFitStartS()-task.GetFitStartS() ||
			task.GetReadyS()-task.GetTestStartS() != 60 || task.GetReadyS()-task.GetFitStartS() != 60+480*float64(task.GetUnitCount()) {
			t.Errorf("task %v", task)
		}
	}
	first := line.GetTasks()[0]
	if line.GetTurnStartS() != first.GetLaunchS()-540 || line.GetSpanS() != before-first.GetLaunchS() {
		t.Errorf("turn at %v, span %v", line.GetTurnStartS(), line.GetSpanS())
	}
	// A misfire stops the deck for its waiting time.
	at := slices.IndexFunc(line.GetTasks(), func(task *bowrollv1.DeckTask) bool { return task.GetUnitCount() > 0 })
	req.Misfires = []*bowrollv1.Misfire{{Sortie: line.GetTasks()[at].GetSortie(), WaitS: proto.Float64(1500)}}
	missed := asked(t, req, 2).GetTimeline()
	if !missed.GetTasks()[at].GetMisfired() || missed.GetTasks()[at+1].GetLaunchS() < missed.GetTasks()[at].GetLaunchS()+1500 {
		t.Errorf("after a misfire %v then %v", missed.GetTasks()[at], missed.GetTasks()[at+1])
	}
}

// What a price says is what a plan with more of it gives.
func TestPricesAreTrue(t *testing.T) {
	cycle := worked()
	out := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: cycle, IncludePrices: true}, 2)
	if len(out.GetPrices()) != 4 {
		t.Fatalf("%d prices: %v", len(out.GetPrices()), out.GetPrices())
	}
	for i, p := range out.GetPrices()[:3] {
		more := proto.CloneOf(cycle)
		if i < 2 {
			more.Lots[i].UsableCount = proto.Int32(more.Lots[i].GetUsableCount() + 2)
		} else {
			more.Crews.TeamCount = proto.Int32(more.Crews.GetTeamCount() + 1)
		}
		after := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: more}, 2)
		if want := difference(after.GetObjective(), out.GetObjective()); !proto.Equal(p.GetGain(), want) || !p.GetProven() {
			t.Errorf("%s: gain %v, planned anew %v", p.GetChange().GetText(), p.GetGain(), want)
		}
	}
}

// Reserves are the least spares that make good the duds of what is planned.
func TestReservesAreSized(t *testing.T) {
	cycle := testCycle()
	cycle.Lots[1].UsableCount = proto.Int32(9)
	cycle.ReserveProbability = proto.Float64(0.999)
	out := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: cycle}, 2)
	if len(out.GetReserves()) != 1 {
		t.Fatalf("reserves %v", out.GetReserves())
	}
	r := out.GetReserves()[0]
	spares, err := allocate.ReserveFor(int(r.GetForCount()), r.GetDudProbability(), 0.999)
	if err != nil || int(r.GetUnitCount()) < spares || r.GetForCount() != out.GetObjective().GetUnitsUsed() {
		t.Errorf("%v: %d spares are needed, %v", r, spares, err)
	}
	left := int32(0)
	for _, l := range out.GetLots() {
		left += l.GetAfterCount()
	}
	if left < r.GetUnitCount() {
		t.Errorf("%d units left, %d kept back", left, r.GetUnitCount())
	}
	// One spare fewer would let more be planned than it is enough for, or as much.
	less := proto.CloneOf(cycle)
	less.ReserveProbability, less.ReserveCount = nil, proto.Int32(r.GetUnitCount()-1)
	used := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: less}, 2).GetObjective().GetUnitsUsed()
	if needed, _ := allocate.ReserveFor(int(used), r.GetDudProbability(), 0.999); needed <= int(r.GetUnitCount())-1 {
		t.Errorf("%d spares would have been enough for the %d units planned with them", r.GetUnitCount()-1, used)
	}
}

// Replanning with nothing changed voids nothing; with a lot gone it voids no more
// than it must, and says why.
func TestReplanDisturbsLittle(t *testing.T) {
	cycle := testCycle()
	was := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: cycle}, 2)
	var keep []*bowrollv1.KeptLaunch
	for _, l := range was.GetLaunches() {
		keep = append(keep, &bowrollv1.KeptLaunch{Sortie: l.GetSortie(), Spot: l.GetSpot(), Draws: l.GetDraws(), LaunchS: &l.LaunchS,
			LeastHeadwindMps: l.GetLeastHeadwindMps().Value})
	}
	same := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: cycle, Keep: keep}, 2)
	if re := same.GetReplan(); len(re.GetVoidCards()) > 0 || len(re.GetKept()) != len(keep) || same.GetObjective().GetKeptCount() != int32(len(cycle.GetSorties())) {
		t.Errorf("nothing changed, and %v", re)
	}
	fewer := testCycle()
	fewer.Lots[1].UsableCount = proto.Int32(fewer.Lots[1].GetUsableCount() - 2)
	kept := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: fewer, Keep: keep}, 2)
	free := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: fewer}, 2)
	if kept.GetObjective().GetPriorityLaunched() != free.GetObjective().GetPriorityLaunched() {
		t.Errorf("keeping cards cost priority: %v, free %v", kept.GetObjective(), free.GetObjective())
	}
	void := kept.GetReplan().GetVoidCards()
	if len(void) == 0 || len(void)+len(kept.GetReplan().GetKept()) != len(keep) {
		t.Errorf("replan %v", kept.GetReplan())
	}
	for _, v := range void {
		if len(v.GetReasons()) == 0 {
			t.Errorf("%s is void for no reason", v.GetSortie())
		}
	}
}

// A sortie outside the launch window is held, the rest is planned.
func TestLaunchWindowHolds(t *testing.T) {
	cycle := testCycle()
	cycle.LaunchWindow = &bowrollv1.LaunchWindow{FromS: proto.Float64(1900), UntilS: proto.Float64(2600)}
	out := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: cycle}, 2)
	if len(out.GetLaunches()) == 0 {
		t.Error("nothing launches inside the window")
	}
	for _, l := range out.GetLaunches() {
		if l.GetLaunchS() < 1900 || l.GetLaunchS() > 2600 {
			t.Errorf("%s launches at %v", l.GetSortie(), l.GetLaunchS())
		}
	}
	held := 0
	for _, h := range out.GetHeld() {
		if h.GetReason() == bowrollv1.HoldReason_HOLD_REASON_WINDOW {
			held++
			if len(h.GetReleases()) != 1 || h.GetReleases()[0].GetQuantity() != "launch_s" {
				t.Errorf("%s: %v", h.GetSortie(), h.GetReleases())
			}
		}
	}
	if held == 0 {
		t.Error("nobody is held for the window")
	}
}

func fields(t *testing.T, err error) []string {
	t.Helper()
	if status.Code(err) != codes.InvalidArgument {
		t.Fatalf("code %v: %v", status.Code(err), err)
	}
	var list []string
	for _, d := range status.Convert(err).Details() {
		if vs, ok := d.(*bowrollv1.Violations); ok {
			for _, v := range vs.GetViolations() {
				list = append(list, v.GetField()+" "+v.GetRule())
			}
		}
	}
	return list
}

func TestBadQueuesNameEveryFault(t *testing.T) {
	c := parked()
	c.Groups[0].Spots[0].Behind, c.Groups[0].Spots[1].Behind = "s5", "s4"
	for _, s := range c.Groups[0].Spots[:2] {
		s.LaunchS = proto.Float64(1800)
	}
	c.Groups[0].Spots[3].Spot = "s99"
	c.Sorties[1].Group = "nowhere"
	c.Sorties[2].Spot = "s1"
	c.Lots[0].UsableCount = proto.Int32(-3)
	c.Lots[1].Id = c.Lots[0].Id
	c.LaunchWindow = &bowrollv1.LaunchWindow{FromS: proto.Float64(10), UntilS: proto.Float64(5)}
	_, err := NewCycles(testValidator(t), testSnapshot(t), 1).Plan(context.Background(), &bowrollv1.CyclesPlanRequest{Cycle: c})
	got := fields(t, err)
	for _, want := range []string{
		"cycle.groups[0].spots[0].behind ring", "cycle.groups[0].spots[3].spot known", "cycle.sorties[1].group known",
		"cycle.sorties[2].spot known", "cycle.lots[0].usable_count range", "cycle.lots[1].id unique", "cycle.launch_window launch_window.order",
	} {
		if !slices.Contains(got, want) {
			t.Errorf("no %q in %q", want, got)
		}
	}
}

// Everything that a plan can say is the same on any number of goroutines.
func TestExtrasAreDeterministic(t *testing.T) {
	for i, cycle := range []*bowrollv1.Cycle{worked(), parked()} {
		req := &bowrollv1.CyclesPlanRequest{Cycle: cycle, IncludeOptions: true, IncludePrices: true, IncludeLp: true}
		if one, many := asked(t, req, 1), asked(t, req, 7); !proto.Equal(one, many) {
			t.Errorf("plan %d depends on the number of goroutines", i)
		}
	}
}

// A queue of 5 000 is planned or refused in the words of the contract, never lost.
func TestAQueueOfFiveThousand(t *testing.T) {
	if testing.Short() {
		t.Skip("plans 5 000 sorties")
	}
	c := testCycle()
	c.Crews = nil
	one := c.Sorties[0]
	c.Sorties = nil
	for i := range 5000 {
		s := proto.CloneOf(one)
		s.Id, s.LaunchS = fmt.Sprintf("birch-%d", i), proto.Float64(float64(i*10))
		s.GrossMassKg = proto.Float64(4500 + 40*float64(i%20))
		c.Sorties = append(c.Sorties, s)
	}
	out := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: c, NodeLimit: proto.Int32(2000)}, 2)
	if len(out.GetLaunches())+len(out.GetHeld()) != 5000 || out.GetBound() < float64(out.GetObjective().GetPriorityLaunched()) {
		t.Errorf("%d launches, %d held, %v, bound %v", len(out.GetLaunches()), len(out.GetHeld()), out.GetObjective(), out.GetBound())
	}
	c.Sorties = append(c.Sorties, one)
	_, err := NewCycles(testValidator(t), testSnapshot(t), 1).Plan(context.Background(), &bowrollv1.CyclesPlanRequest{Cycle: c})
	if got := fields(t, err); !slices.ContainsFunc(got, func(f string) bool { return strings.HasPrefix(f, "cycle.sorties ") }) {
		t.Errorf("violations %q", got)
	}
}
