package rpc

import (
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
)

// The words of the ledger and the names of the contract are the same but for
// the prefix and case, so that neither needs a table that could fall behind.

func stateName(s store.State) bowrollv1.UnitState {
	return bowrollv1.UnitState(bowrollv1.UnitState_value["UNIT_STATE_"+strings.ToUpper(string(s))])
}

func stateOf(s bowrollv1.UnitState) store.State {
	if s == bowrollv1.UnitState_UNIT_STATE_UNSPECIFIED {
		return ""
	}
	return store.State(strings.ToLower(strings.TrimPrefix(s.String(), "UNIT_STATE_")))
}

// eventName is UNSPECIFIED for events that only a plan brings about.
func eventName(e store.Event) bowrollv1.UnitEvent {
	return bowrollv1.UnitEvent(bowrollv1.UnitEvent_value["UNIT_EVENT_"+strings.ToUpper(string(e))])
}

func eventOf(e bowrollv1.UnitEvent) store.Event {
	return store.Event(strings.ToLower(strings.TrimPrefix(e.String(), "UNIT_EVENT_")))
}

func kindName(k store.Kind) bowrollv1.LotKind {
	return bowrollv1.LotKind(bowrollv1.LotKind_value["LOT_KIND_"+strings.ToUpper(string(k))])
}

func kindOf(k bowrollv1.LotKind) store.Kind {
	return store.Kind(strings.ToLower(strings.TrimPrefix(k.String(), "LOT_KIND_")))
}

func planStateName(s store.PlanState) bowrollv1.PlanState {
	return bowrollv1.PlanState(bowrollv1.PlanState_value["PLAN_STATE_"+strings.ToUpper(string(s))])
}

func planStateOf(s bowrollv1.PlanState) store.PlanState {
	return store.PlanState(strings.ToLower(strings.TrimPrefix(s.String(), "PLAN_STATE_")))
}

func sortieStateName(s store.SortieState) bowrollv1.SortieState {
	return bowrollv1.SortieState(bowrollv1.SortieState_value["SORTIE_STATE_"+strings.ToUpper(string(s))])
}
