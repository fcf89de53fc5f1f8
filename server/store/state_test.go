package store

import (
	"sort"
	"strings"
	"testing"
)

// diagram is the ledger of states as operations draws it, one line a state:
// the state, then each event and where it leads.
const diagram = `
.           receive:received
received    inspect:inspected drop:quarantined wet:quarantined overexpose:quarantined quarantine:quarantined move:received lose:lost annotate:received
inspected   accept:available drop:quarantined wet:quarantined overexpose:quarantined quarantine:quarantined lose:lost annotate:inspected move:inspected
available   reserve:reserved drop:quarantined wet:quarantined overexpose:quarantined quarantine:quarantined move:available lose:lost annotate:available
reserved    release:available time_out:available issue:issued drop:quarantined wet:quarantined overexpose:quarantined quarantine:quarantined move:reserved lose:lost annotate:reserved
issued      fit:fitted return:returned drop:quarantined wet:quarantined overexpose:quarantined quarantine:quarantined lose:lost annotate:issued
fitted      fit_igniter:fitted remove_igniter:fitted arm:armed return:returned drop:quarantined wet:quarantined overexpose:quarantined quarantine:quarantined lose:lost annotate:fitted
armed       remove_igniter:fitted expend:expended misfire:misfired hang_up:hung_up return:returned drop:quarantined wet:quarantined overexpose:quarantined quarantine:quarantined lose:lost annotate:armed
expended    lose:lost annotate:expended
misfired    quarantine:quarantined lose:lost annotate:misfired
hung_up     quarantine:quarantined lose:lost annotate:hung_up
returned    inspect:inspected drop:quarantined wet:quarantined overexpose:quarantined quarantine:quarantined move:returned lose:lost annotate:returned
quarantined clear:available condemn:condemned overexpose:quarantined move:quarantined lose:lost annotate:quarantined
condemned   dispose:disposed move:condemned lose:lost annotate:condemned
disposed    lose:lost annotate:disposed
lost        find:quarantined annotate:lost
`

func TestNextIsTheDiagram(t *testing.T) {
	want := map[State]map[Event]State{}
	for _, line := range strings.Split(strings.TrimSpace(diagram), "\n") {
		words := strings.Fields(line)
		from := State(strings.TrimPrefix(words[0], "."))
		want[from] = map[Event]State{}
		for _, word := range words[1:] {
			event, to, _ := strings.Cut(word, ":")
			want[from][Event(event)] = State(to)
		}
	}
	if len(want) != len(States())+1 {
		t.Fatalf("the diagram has %d states, the code %d", len(want), len(States())+1)
	}
	for _, from := range append([]State{None}, States()...) {
		for _, event := range Events() {
			to, ok := Next(from, event)
			wanted, may := want[from][event]
			if ok != may || to != wanted {
				t.Errorf("Next(%q, %s) = %q, %v; the diagram says %q, %v", from, event, to, ok, wanted, may)
			}
		}
		for event := range want[from] {
			if _, ok := Next(from, event); !ok {
				t.Errorf("%q: %s of the diagram is unknown", from, event)
			}
		}
	}
}

func TestNextKnowsNothingElse(t *testing.T) {
	for _, event := range []Event{"", "explode", ReceiveLot, Suspend, Launch} {
		for _, from := range States() {
			if to, ok := Next(from, event); ok || to != None {
				t.Errorf("Next(%s, %q) = %q, %v", from, event, to, ok)
			}
		}
	}
	if _, ok := Next("burning", Lose); ok {
		t.Error("an unknown state has a next one")
	}
}

func TestEventsFromIsSortedAndWhole(t *testing.T) {
	for _, from := range States() {
		events := EventsFrom(from)
		if !sort.SliceIsSorted(events, func(i, j int) bool { return events[i] < events[j] }) {
			t.Errorf("%s: %v", from, events)
		}
		if len(events) == 0 {
			t.Errorf("%s leads nowhere", from)
		}
	}
}

// Whatever happens, a unit that was condemned, expended or disposed of is never
// available again.
func TestNoWayBackFromTheEnd(t *testing.T) {
	reach := func(from State) map[State]bool {
		seen, todo := map[State]bool{}, []State{from}
		for len(todo) > 0 {
			state := todo[0]
			todo = todo[1:]
			for _, event := range EventsFrom(state) {
				// Finding a lost unit puts it before an authority again.
				to, _ := Next(state, event)
				if !seen[to] && event != Find {
					seen[to] = true
					todo = append(todo, to)
				}
			}
		}
		return seen
	}
	for _, end := range []State{Expended, Condemned, Disposed} {
		if reach(end)[Available] {
			t.Errorf("%s leads back to available", end)
		}
	}
	for _, state := range States() {
		switch state {
		case Expended, Condemned, Disposed, Lost:
		default:
			if !reach(state)[Available] {
				t.Errorf("%s never leads back to available", state)
			}
		}
	}
}
