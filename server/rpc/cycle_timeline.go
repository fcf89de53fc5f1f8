package rpc

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	"bowroll/perf/allocate/timeline"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// checkMisfires judges misfires asked for against the cycle.
func checkMisfires(rc *resolvedCycle, list []*bowrollv1.Misfire) []*bowrollv1.Violation {
	f := &faults{}
	seen := map[string]int{}
	for i, m := range list {
		path := "misfires[" + strconv.Itoa(i) + "]"
		if rc.sortie(m.GetSortie()) == nil {
			f.add(path+".sortie", strconv.Quote(m.GetSortie()), "known", "a sortie of the cycle", "")
		}
		if first, again := seen[m.GetSortie()]; again {
			f.add(path+".sortie", strconv.Quote(m.GetSortie()), "unique", "a sortie once", "misfires["+strconv.Itoa(first)+"] has it")
		}
		seen[m.GetSortie()] = i
		if m.WaitS == nil {
			for k := range rc.lots {
				if t := rc.lots[k].lot.GetType(); t.MisfireWaitS == nil {
					f.add(path+".wait_s", "", "required", "given, since "+t.GetName()+" states no misfire_wait_s", "there is no default for it")
					break
				}
			}
		}
	}
	if len(list) > 0 && rc.cycle.GetDeckWork() == nil {
		f.list = append(f.list, &bowrollv1.Violation{
			Field: "misfires", Rule: "goes-with", Allowed: "with cycle.deck_work", Hint: "without it no timeline is drawn up",
		})
	}
	for _, v := range f.list {
		v.Field = trimDot(v.GetField())
	}
	return f.list
}

func trimDot(path string) string {
	if path != "" && path[0] == '.' {
		return path[1:]
	}
	return path
}

// sortie is the sortie of that name, or nil.
func (rc *resolvedCycle) sortie(id string) *resolvedSortie {
	for _, s := range rc.sorties {
		if s.sortie.GetId() == id {
			return s
		}
	}
	return nil
}

// up and down turn seconds into whole ones: what work takes is rounded up, what
// limits it down.
func up(s float64) int64   { return int64(math.Ceil(s)) }
func down(s float64) int64 { return int64(math.Floor(s)) }

// deckOf puts what the cycle says of the deck into the schedule's form.
func (rc *resolvedCycle) deckOf(items []timeline.Item) timeline.Deck {
	w := rc.cycle.GetDeckWork()
	d := timeline.Deck{
		TeamsPerAircraft: int(w.GetTeamsPerAircraft()), Bays: int(w.GetBayCount()), CircuitTestS: up(w.GetCircuitTestS()),
		IgniterS: up(w.GetIgniterS()), IgniterLimitS: down(w.GetIgniterLimitS()),
		IntervalS: up(w.GetIntervalS()), DeckClearS: up(w.GetDeckClearS()), ExhaustSettleS: up(w.GetExhaustSettleS()), WindReadS: up(w.GetWindReadS()),
		TurnS: up(w.GetTurnS()), SteadyS: up(w.GetSteadyS()), ReserveS: up(w.GetSpareS()),
		SpeedMPS: rc.ship.GetSpeedMps(), SeaRoomM: w.GetSeaRoomM(), StartS: -allocate.MaxTimeS,
	}
	if w.StartS != nil {
		d.StartS = up(w.GetStartS())
	}
	if site := rc.siteOf(""); site.Crews != nil {
		d.Teams, d.UnitS, d.HoldMinS, d.HoldMaxS = site.Crews.Teams, site.Crews.UnitS, site.Crews.HoldMinS, site.Crews.HoldMaxS
	} else {
		// Nothing is known of fitting: it is done when it must be.
		d.Teams = max(1, len(items)*max(1, d.TeamsPerAircraft))
		d.HoldMinS = d.IgniterS
		d.HoldMaxS = d.HoldMinS + d.CircuitTestS
	}
	if win := rc.cycle.GetLaunchWindow(); win != nil {
		open := timeline.Window{FromS: -allocate.MaxTimeS, ToS: allocate.MaxTimeS}
		if win.FromS != nil {
			open.FromS = up(win.GetFromS())
		}
		if win.UntilS != nil {
			open.ToS = down(win.GetUntilS())
		}
		d.Windows = []timeline.Window{open}
	}
	return d
}

// items are the launches of the cycle in order, with the fit of each.
func (p *planner) items() ([]timeline.Item, []*cycleFit) {
	var items []timeline.Item
	var fits []*cycleFit
	for _, l := range allocate.Launches(&p.q.problem, p.res.Choices) {
		i := l.Sortie - p.part.first
		if i < 0 || i >= len(p.rc.sorties) {
			continue
		}
		items = append(items, timeline.Item{ID: p.rc.sorties[i].sortie.GetId(), Units: l.Units, LaunchS: l.LaunchS - p.part.ahead})
		fits = append(fits, p.part.chosen(p.res, i))
	}
	return items, fits
}

var hindrances = map[string]bowrollv1.Hindrance{
	"plan": bowrollv1.Hindrance_HINDRANCE_PLAN, "crews": bowrollv1.Hindrance_HINDRANCE_CREWS, "bays": bowrollv1.Hindrance_HINDRANCE_BAYS,
	"deck": bowrollv1.Hindrance_HINDRANCE_DECK, "misfire": bowrollv1.Hindrance_HINDRANCE_MISFIRE,
	"sea room": bowrollv1.Hindrance_HINDRANCE_SEA_ROOM, "window": bowrollv1.Hindrance_HINDRANCE_WINDOW,
}

// timeline schedules the work on deck for the plan.
func (p *planner) timeline(asked []*bowrollv1.Misfire) (*bowrollv1.Timeline, error) {
	items, fits := p.items()
	d := p.rc.deckOf(items)
	var misfires []timeline.Misfire
	for _, m := range asked {
		at := slices.IndexFunc(items, func(it timeline.Item) bool { return it.ID == m.GetSortie() })
		if at < 0 || items[at].Units == 0 {
			continue // held or without units: nothing to misfire
		}
		wait := m.GetWaitS()
		if m.WaitS == nil {
			for _, l := range fits[at].lots {
				wait = max(wait, p.rc.lots[l].lot.GetType().GetMisfireWaitS())
			}
		}
		misfires = append(misfires, timeline.Misfire{Item: at, WaitS: up(wait)})
	}
	s, err := timeline.Plan(d, items, misfires)
	if err != nil {
		return nil, err
	}
	spans, err := timeline.Measure(d, items)
	if err != nil {
		return nil, err
	}
	sooner, err := timeline.OneMoreTeam(d, items, misfires)
	if err != nil {
		return nil, err
	}
	out := &bowrollv1.Timeline{
		Critical: hindrances[s.Critical], SpanS: float64(s.SpanS), DeckSpanS: float64(spans.DeckS), CrewsSpanS: float64(spans.CrewsS),
		LeastTeamCount: int32(spans.TeamsToKeepUp), OneMoreTeamS: float64(sooner), SeaRoomM: p.rc.cycle.GetDeckWork().SeaRoomM,
	}
	if p.rc.cycle.GetCrews() == nil {
		out.LeastTeamCount = 0
	}
	if p.rc.ship != nil && len(items) > 0 {
		out.TurnStartS, out.SeaUsedM = proto.Float64(float64(s.TurnS)), proto.Float64(s.SeaRoomM)
	}
	for i := range s.Tasks {
		out.Tasks = append(out.Tasks, deckTask(&s.Tasks[i]))
	}
	return out, nil
}

func deckTask(t *timeline.Task) *bowrollv1.DeckTask {
	out := &bowrollv1.DeckTask{
		Sortie: t.ID, UnitCount: int32(t.Units), LaunchS: float64(t.LaunchS), DelayS: float64(t.DelayS),
		WaitedFor: hindrances[t.Waits], Misfired: t.Misfired, Held: t.Held,
	}
	if t.Units == 0 || t.Held {
		return out
	}
	for _, team := range t.Teams {
		out.Teams = append(out.Teams, int32(team+1))
	}
	at := func(s int64) *float64 { return proto.Float64(float64(s)) }
	out.Bay = proto.Int32(int32(t.Bay + 1))
	out.FitStartS, out.LatestFitStartS, out.SlackS = at(t.FitS), at(t.LatestFitS), at(t.SlackS)
	out.TestStartS, out.ReadyS, out.IgniterStartS = at(t.TestS), at(t.DoneS), at(t.IgniterS)
	if t.OverHoldS > 0 {
		out.OverHoldS = at(t.OverHoldS)
	}
	return out
}

// worded is a caution without its severity.
type worded struct{ id, text string }

// timelineCautions are what a timeline gives cause to say.
func timelineCautions(t *bowrollv1.Timeline) []worded {
	var late, over, shut []string
	misfired := false
	for _, task := range t.GetTasks() {
		switch {
		case task.GetHeld():
			shut = append(shut, task.GetSortie())
		case task.GetDelayS() > 0:
			late = append(late, task.GetSortie())
		}
		if task.OverHoldS != nil {
			over = append(over, task.GetSortie())
		}
		misfired = misfired || task.GetMisfired()
	}
	var list []worded
	say := func(id string, sorties []string, text string) {
		if len(sorties) > 0 {
			list = append(list, worded{id, cycleCaution(&bowrollv1.Caution{Id: id, Text: text}, sorties)})
		}
	}
	say("timeline-late", late, "the work on deck takes longer than the launch time leaves: the timeline has the time it can go.")
	say("over-hold", over, "units would be on longer than permitted: fit them later or take them off.")
	say("window-shut", shut, "the launch window is shut once it could go.")
	if used, room := t.SeaUsedM, t.SeaRoomM; used != nil && room != nil && *used > *room {
		list = append(list, worded{"sea-room", fmt.Sprintf("The cycle uses %.0f m of sea, %.0f m more than there is.", *used, *used-*room)})
	}
	if misfired {
		list = append(list, worded{"misfire-wait", "After a misfire nobody approaches before the waiting time has passed; igniters already in behind it come out before their limit runs out."})
	}
	return list
}
