package table

import (
	"context"

	"bowroll/server/store"
)

// Reservations returns open reservations.
func (t *Tx) Reservations(ctx context.Context, filter store.ReservationFilter) (list []store.Reservation, err error) {
	w := t.where()
	w.text.WriteString(" AND close_seq IS NULL")
	w.andText("plan", filter.Plan)
	w.andText("sortie", filter.Sortie)
	if filter.Lot != "" {
		w.and("unit IN (SELECT id FROM units u WHERE u.site = $1 AND u.lot = $%d)", filter.Lot)
	}
	if !filter.Lapsed.IsZero() {
		w.and("until < $%d", store.Micros(filter.Lapsed))
		w.text.WriteString(" AND unit IN (SELECT id FROM units u WHERE u.site = $1 AND u.state = 'reserved')")
	}
	err = t.query(ctx, func(r Rows) error {
		var (
			one   store.Reservation
			until int64
		)
		err := r.Scan(&one.Unit, &one.Plan, &one.Sortie, &until, &one.Seq)
		one.Until = store.FromMicros(until)
		list = append(list, one)
		return err
	}, `SELECT unit, plan, sortie, until, seq FROM reservations WHERE `+w.text.String()+` ORDER BY plan, sortie, unit`, w.args...)
	return list, err
}

// OpenReservations inserts reservations.
func (t *Tx) OpenReservations(ctx context.Context, list []store.Reservation) error {
	args := make([][]any, len(list))
	for i, one := range list {
		args[i] = []any{t.site, one.Unit, one.Seq, one.Plan, one.Sortie, store.Micros(one.Until)}
	}
	done, err := t.each(ctx, `INSERT INTO reservations (site, unit, seq, plan, sortie, until) VALUES ($1, $2, $3, $4, $5, $6)`, args)
	if err != nil && t.q.Duplicate(err) {
		return changed("unit", list[min(len(done), len(list)-1)].Unit)
	}
	return t.fault(err)
}

// CloseReservations closes the open reservations of units.
func (t *Tx) CloseReservations(ctx context.Context, units []string, seqs []int64) error {
	args := make([][]any, len(units))
	for i, unit := range units {
		args[i] = []any{t.site, unit, seqs[i]}
	}
	done, err := t.each(ctx, `UPDATE reservations SET close_seq = $3 WHERE site = $1 AND unit = $2 AND close_seq IS NULL`, args)
	if err != nil {
		return t.fault(err)
	}
	for i, n := range done {
		if n != 1 {
			return changed("unit", units[i])
		}
	}
	return nil
}
