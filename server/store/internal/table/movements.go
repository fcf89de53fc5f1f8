package table

import (
	"context"

	"bowroll/server/store"
)

const movementColumns = `seq, time, event, lot, unit, plan, sortie, from_state, to_state, actor, place, reason, authority, igniter, until, request, detail, previous, hash`

// Append appends entries to the log and moves its end.
func (t *Tx) Append(ctx context.Context, movements []store.Movement) error {
	if len(movements) == 0 {
		return nil
	}
	args := make([][]any, len(movements))
	for i := range movements {
		m := &movements[i]
		detail := m.Detail
		if detail == nil {
			detail = []byte{}
		}
		args[i] = []any{t.site, m.Seq, store.Micros(m.Time), string(m.Event), m.Lot, m.Unit, m.Plan, m.Sortie,
			string(m.From), string(m.To), m.Actor, m.Place, m.Reason, m.Authority, m.Igniter, store.Micros(m.Until),
			m.Request, detail, m.Previous[:], m.Hash[:]}
	}
	_, err := t.each(ctx, `INSERT INTO movements (site, `+movementColumns+`)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20)`, args)
	if err != nil {
		if t.q.Duplicate(err) {
			return changed("log", t.site)
		}
		return t.fault(err)
	}
	first, last := &movements[0], &movements[len(movements)-1]
	n, err := t.exec(ctx, `UPDATE sites SET seq = $2, hash = $3 WHERE site = $1 AND seq = $4 AND hash = $5`,
		t.site, last.Seq, last.Hash[:], first.Seq-1, first.Previous[:])
	if err == nil && n != 1 {
		return changed("log", t.site)
	}
	return err
}

// Movements returns entries of the log.
func (t *Tx) Movements(ctx context.Context, filter store.MovementFilter, after int64, limit int) (list []store.Movement, err error) {
	w := t.where()
	w.andText("lot", filter.Lot)
	w.andText("unit", filter.Unit)
	w.andText("plan", filter.Plan)
	w.and("seq > $%d", after)
	rest := w.limit("seq", limit)
	err = t.query(ctx, func(r Rows) error {
		var (
			m               store.Movement
			event, from, to string
			time, until     int64
			previous, hash  []byte
		)
		m.Site = t.site
		err := r.Scan(&m.Seq, &time, &event, &m.Lot, &m.Unit, &m.Plan, &m.Sortie, &from, &to, &m.Actor, &m.Place, &m.Reason,
			&m.Authority, &m.Igniter, &until, &m.Request, &m.Detail, &previous, &hash)
		m.Event, m.From, m.To = store.Event(event), store.State(from), store.State(to)
		m.Time, m.Until = store.FromMicros(time), store.FromMicros(until)
		if len(m.Detail) == 0 {
			m.Detail = nil
		}
		copy(m.Previous[:], previous)
		copy(m.Hash[:], hash)
		list = append(list, m)
		return err
	}, `SELECT `+movementColumns+` FROM movements WHERE `+rest, w.args...)
	return list, err
}
