package store

import "sort"

// State is where a unit stands in its life.
type State string

// The states of a unit.
const (
	// None is the state before a unit is received.
	None State = ""
	// Received: on board, not looked at yet.
	Received State = "received"
	// Inspected: looked at, not accepted for use yet.
	Inspected State = "inspected"
	// Available: may be reserved.
	Available State = "available"
	// Reserved: promised to one sortie of one plan until a stated instant.
	Reserved State = "reserved"
	// Issued: handed out for that sortie.
	Issued State = "issued"
	// Fitted: on the aircraft.
	Fitted State = "fitted"
	// Armed: on the aircraft with its igniter, ready to fire.
	Armed State = "armed"
	// Expended: fired.
	Expended State = "expended"
	// Misfired: commanded and did not fire; the waiting time runs.
	Misfired State = "misfired"
	// HungUp: did not leave the aircraft when it was to be dropped.
	HungUp State = "hung_up"
	// Returned: brought back unused.
	Returned State = "returned"
	// Quarantined: kept from use until a named authority decides.
	Quarantined State = "quarantined"
	// Condemned: never to be used.
	Condemned State = "condemned"
	// Disposed: destroyed or handed over for destruction.
	Disposed State = "disposed"
	// Lost: not where the ledger says, and reported.
	Lost State = "lost"
)

// Event is what happens to a unit.
type Event string

// The events of a unit.
const (
	Receive       Event = "receive"
	Inspect       Event = "inspect"
	Accept        Event = "accept"
	Reserve       Event = "reserve"
	Release       Event = "release"        // the plan gives it back
	TimeOut       Event = "time_out"       // the reservation ran out
	Issue         Event = "issue"          //
	Fit           Event = "fit"            //
	FitIgniter    Event = "fit_igniter"    // at the launch point, last of all
	RemoveIgniter Event = "remove_igniter" //
	Arm           Event = "arm"            //
	Expend        Event = "expend"         //
	Misfire       Event = "misfire"        //
	HangUp        Event = "hang_up"        //
	Return        Event = "return"         //
	Move          Event = "move"           // to another place
	Drop          Event = "drop"           // it fell
	Wet           Event = "wet"            // it got wet
	Overexpose    Event = "overexpose"     // stowed outside its temperature band
	Quarantine    Event = "quarantine"     // kept from use for any other reason
	Clear         Event = "clear"          // a named authority returns it to use
	Condemn       Event = "condemn"        //
	Dispose       Event = "dispose"        //
	Lose          Event = "lose"           // reported missing
	Find          Event = "find"           // a lost one turned up
	Annotate      Event = "annotate"       // a remark or correction of the record
)

// transition is one cell of the table of states.
type transition struct {
	from  State
	event Event
}

// stowed are the states in which a unit lies in a magazine or store room.
var stowed = []State{Received, Inspected, Available, Reserved, Returned, Quarantined, Condemned}

// held are the states in which a unit belongs to one sortie of one plan.
var held = []State{Reserved, Issued, Fitted, Armed}

// transitions is the table of states: what is not in it cannot happen.
var transitions = makeTransitions()

func makeTransitions() map[transition]State {
	table := map[transition]State{
		{None, Receive}:           Received,
		{Received, Inspect}:       Inspected,
		{Returned, Inspect}:       Inspected,
		{Inspected, Accept}:       Available,
		{Available, Reserve}:      Reserved,
		{Reserved, Release}:       Available,
		{Reserved, TimeOut}:       Available,
		{Reserved, Issue}:         Issued,
		{Issued, Fit}:             Fitted,
		{Fitted, FitIgniter}:      Fitted,
		{Fitted, RemoveIgniter}:   Fitted,
		{Armed, RemoveIgniter}:    Fitted,
		{Fitted, Arm}:             Armed,
		{Armed, Expend}:           Expended,
		{Armed, Misfire}:          Misfired,
		{Armed, HangUp}:           HungUp,
		{Issued, Return}:          Returned,
		{Fitted, Return}:          Returned,
		{Armed, Return}:           Returned,
		{Misfired, Quarantine}:    Quarantined,
		{HungUp, Quarantine}:      Quarantined,
		{Quarantined, Clear}:      Available,
		{Quarantined, Condemn}:    Condemned,
		{Condemned, Dispose}:      Disposed,
		{Lost, Find}:              Quarantined,
		{Quarantined, Overexpose}: Quarantined,
	}
	for _, from := range []State{Received, Inspected, Available, Reserved, Issued, Fitted, Armed, Returned} {
		for _, event := range []Event{Drop, Wet, Overexpose, Quarantine} {
			table[transition{from, event}] = Quarantined
		}
	}
	for _, from := range stowed {
		table[transition{from, Move}] = from
	}
	for _, from := range States() {
		if from != Lost {
			table[transition{from, Lose}] = Lost
		}
		table[transition{from, Annotate}] = from
	}
	return table
}

// Next returns the state that event leads to from state, and whether it may
// happen there at all. It looks at nothing else: the conditions that an event
// has besides (a named authority, an igniter removed) are the ledger's.
func Next(state State, event Event) (State, bool) {
	to, ok := transitions[transition{state, event}]
	return to, ok
}

// EventsFrom returns the events that may happen in a state, in order.
func EventsFrom(state State) []Event {
	var list []Event
	for _, event := range Events() {
		if _, ok := Next(state, event); ok {
			list = append(list, event)
		}
	}
	return list
}

// Held reports whether a unit in this state belongs to a sortie of a plan.
func (s State) Held() bool {
	for _, state := range held {
		if s == state {
			return true
		}
	}
	return false
}

// States returns the states of a unit, in the order of its life.
func States() []State {
	return []State{
		Received, Inspected, Available, Reserved, Issued, Fitted, Armed, Expended,
		Misfired, HungUp, Returned, Quarantined, Condemned, Disposed, Lost,
	}
}

// Events returns the events of a unit, in the order of their names.
func Events() []Event {
	seen := map[Event]bool{}
	for t := range transitions {
		seen[t.event] = true
	}
	list := make([]Event, 0, len(seen))
	for event := range seen {
		list = append(list, event)
	}
	sort.Slice(list, func(i, j int) bool { return list[i] < list[j] })
	return list
}
