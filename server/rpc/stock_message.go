package rpc

import (
	"encoding/hex"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// lotMessage is a lot as the contract shows it.
func lotMessage(lot store.Lot) *bowrollv1.StockLot {
	m := &bowrollv1.StockLot{
		Name:                     "sites/" + lot.Site + "/lots/" + lot.ID,
		Kind:                     kindName(lot.Kind),
		Type:                     lot.Type,
		DisplayName:              lot.DisplayName,
		ExpireTime:               stamp(lot.ExpireTime),
		StowageLeastC:            lot.StowageLeastC,
		StowageGreatestC:         lot.StowageGreatestC,
		GreatestRelativeHumidity: lot.HumidityGreatest,
		MisfireWaitS:             lot.MisfireWaitS,
		IgniterType:              lot.IgniterType,
		OutOfPackS:               lot.OutOfPackS,
		Suspended:                lot.Suspended,
		ReceivedCount:            int32(lot.ReceivedCount),
		CreateTime:               stamp(lot.CreateTime),
		UpdateTime:               stamp(lot.UpdateTime),
		Etag:                     etag(lot.Seq),
	}
	if lot.ReadingGapS > 0 {
		m.ReadingGapS = &lot.ReadingGapS
	}
	return m
}

// lotOf is a lot as a caller gave it. What the caller left to the booster type
// is the type's.
func lotOf(m *bowrollv1.StockLot, id string, booster *bowrollv1.BoosterType) store.Lot {
	lot := store.Lot{
		ID: id, Kind: kindOf(m.GetKind()), Type: m.GetType(), DisplayName: m.GetDisplayName(),
		ExpireTime: m.GetExpireTime().AsTime(), StowageLeastC: m.StowageLeastC, StowageGreatestC: m.StowageGreatestC,
		HumidityGreatest: m.GreatestRelativeHumidity, ReadingGapS: m.GetReadingGapS(), MisfireWaitS: m.MisfireWaitS,
		IgniterType: m.GetIgniterType(), OutOfPackS: m.OutOfPackS,
	}
	if booster != nil {
		fill(&lot.StowageLeastC, booster.StowageLeastC)
		fill(&lot.StowageGreatestC, booster.StowageGreatestC)
		fill(&lot.MisfireWaitS, booster.MisfireWaitS)
	}
	return lot
}

// fill sets a value that was not given.
func fill(target **float64, value *float64) {
	if *target == nil && value != nil {
		copied := *value
		*target = &copied
	}
}

// unitMessage is a unit as the contract shows it.
func unitMessage(u store.Unit) *bowrollv1.Unit {
	m := &bowrollv1.Unit{
		Name:            "sites/" + u.Site + "/units/" + u.ID,
		Lot:             "sites/" + u.Site + "/lots/" + u.Lot,
		State:           stateName(u.State),
		Place:           u.Place,
		UsableUntilTime: stamp(u.UsableUntil),
		Cause:           u.Cause,
		Igniter:         u.Igniter,
		Sortie:          u.Sortie,
		HoldUntilTime:   stamp(u.Until),
		IssueTime:       stamp(u.IssueTime),
		WaitUntilTime:   stamp(u.WaitUntil),
		UpdateTime:      stamp(u.UpdateTime),
		Sequence:        int32(u.Seq),
	}
	if u.Plan != "" {
		m.Plan = "sites/" + u.Site + "/plans/" + u.Plan
	}
	for _, event := range store.EventsFrom(u.State) {
		if name := eventName(event); name != bowrollv1.UnitEvent_UNIT_EVENT_UNSPECIFIED {
			m.PossibleEvents = append(m.PossibleEvents, name)
		}
	}
	return m
}

// movementMessage is an entry of the log as the contract shows it.
func movementMessage(m store.Movement) *bowrollv1.Movement {
	return &bowrollv1.Movement{
		Sequence: int32(m.Seq), Time: stamp(m.Time), Event: string(m.Event), Lot: m.Lot, Unit: m.Unit, Plan: m.Plan,
		Sortie: m.Sortie, FromState: string(m.From), ToState: string(m.To), Actor: m.Actor, Place: m.Place,
		Reason: m.Reason, Authority: m.Authority, Igniter: m.Igniter, UntilTime: stamp(m.Until), RequestId: m.Request,
		Detail: string(m.Detail), PreviousHash: hex.EncodeToString(m.Previous[:]), Hash: hex.EncodeToString(m.Hash[:]),
		ActorProven: store.Proven(m.Actor),
	}
}

// readingMessage is a reading as the contract shows it.
func readingMessage(r store.Reading) *bowrollv1.Reading {
	return &bowrollv1.Reading{
		Time: stamp(r.Time), TemperatureC: &r.TemperatureC, RelativeHumidity: r.RelativeHumidity, Place: r.Place, Source: r.Source,
	}
}

// readingOf is a reading as it was sent.
func readingOf(m *bowrollv1.Reading) store.Reading {
	return store.Reading{
		Time: m.GetTime().AsTime(), TemperatureC: m.GetTemperatureC(), RelativeHumidity: m.RelativeHumidity,
		Place: m.GetPlace(), Source: m.GetSource(),
	}
}

// stepsOf are steps as a caller gave them.
func stepsOf(list []*bowrollv1.UnitStep) []ledger.Step {
	steps := make([]ledger.Step, len(list))
	for i, s := range list {
		steps[i] = ledger.Step{
			Unit: s.GetUnit(), Event: eventOf(s.GetEvent()), Place: s.GetPlace(), Reason: s.GetReason(),
			Authority: s.GetAuthority(), Igniter: s.GetIgniter(), AtLaunchPoint: s.GetAtLaunchPoint(),
		}
	}
	return steps
}
