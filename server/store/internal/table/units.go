package table

import (
	"context"
	"encoding/json"
	"strings"
	"time"

	"bowroll/server/store"
)

const unitColumns = `id, lot, state, place, usable_until, cause, igniter, plan, sortie, until, issue_time, wait_until, create_time, update_time, seq`

func (t *Tx) scanUnit(r Rows) (u store.Unit, err error) {
	var (
		state                                                            string
		usableUntil, until, issueTime, waitUntil, createTime, updateTime int64
	)
	u.Site = t.site
	err = r.Scan(&u.ID, &u.Lot, &state, &u.Place, &usableUntil, &u.Cause, &u.Igniter, &u.Plan, &u.Sortie,
		&until, &issueTime, &waitUntil, &createTime, &updateTime, &u.Seq)
	u.State = store.State(state)
	u.UsableUntil, u.Until = store.FromMicros(usableUntil), store.FromMicros(until)
	u.IssueTime, u.WaitUntil = store.FromMicros(issueTime), store.FromMicros(waitUntil)
	u.CreateTime, u.UpdateTime = store.FromMicros(createTime), store.FromMicros(updateTime)
	return u, err
}

func (t *Tx) queryUnits(ctx context.Context, statement string, args ...any) (units []store.Unit, err error) {
	err = t.query(ctx, func(r Rows) error {
		unit, err := t.scanUnit(r)
		units = append(units, unit)
		return err
	}, statement, args...)
	return units, err
}

// Units returns units by id.
func (t *Tx) Units(ctx context.Context, ids []string) ([]store.Unit, error) {
	if len(ids) == 0 {
		return nil, nil
	}
	list, err := json.Marshal(ids)
	if err != nil {
		return nil, err
	}
	units, err := t.queryUnits(ctx, `SELECT `+unitColumns+` FROM units WHERE site = $1 AND `+t.q.In("id", 2)+` ORDER BY id`, t.site, string(list))
	if err != nil {
		return nil, err
	}
	found := make(map[string]bool, len(units))
	for i := range units {
		found[units[i].ID] = true
	}
	var missing []string
	for _, id := range ids {
		if !found[id] {
			missing = append(missing, id)
			found[id] = true
		}
	}
	if len(missing) > 0 {
		all := strings.Join(missing, ", ")
		return nil, store.Errorf(store.NotFound, "UNIT_NOT_FOUND", "site %s has no unit %s", t.site, all).With("units", all)
	}
	return units, nil
}

func (t *Tx) unitsWhere(filter store.UnitFilter) *where {
	w := t.where()
	w.andText("lot", filter.Lot)
	w.andText("state", string(filter.State))
	w.andText("place", filter.Place)
	w.andText("plan", filter.Plan)
	w.andText("sortie", filter.Sortie)
	return w
}

// ListUnits returns units in the order of their ids.
func (t *Tx) ListUnits(ctx context.Context, filter store.UnitFilter, after string, limit int) ([]store.Unit, error) {
	w := t.unitsWhere(filter)
	w.and("id > $%d", after)
	rest := w.limit("id", limit)
	return t.queryUnits(ctx, `SELECT `+unitColumns+` FROM units WHERE `+rest, w.args...)
}

// FirstExpiring returns the available units of a lot that expire first.
func (t *Tx) FirstExpiring(ctx context.Context, lot string, until time.Time, limit int) ([]store.Unit, error) {
	return t.queryUnits(ctx, `SELECT `+unitColumns+` FROM units
		WHERE site = $1 AND lot = $2 AND state = 'available' AND usable_until >= $3
		ORDER BY usable_until, id LIMIT $4`, t.site, lot, store.Micros(until), limit)
}

// CountUnits counts units by lot, type and state.
func (t *Tx) CountUnits(ctx context.Context, filter store.UnitFilter) (counts []store.Count, err error) {
	w := t.unitsWhere(filter)
	err = t.query(ctx, func(r Rows) error {
		var c store.Count
		err := r.Scan(&c.Lot, &c.State, &c.Count)
		counts = append(counts, c)
		return err
	}, `SELECT lot, state, count(*) FROM units WHERE `+w.text.String()+` GROUP BY lot, state ORDER BY lot, state`, w.args...)
	if err != nil || len(counts) == 0 {
		return nil, err
	}
	types := map[string]store.Count{}
	err = t.query(ctx, func(r Rows) error {
		var c store.Count
		err := r.Scan(&c.Lot, &c.Kind, &c.Type)
		types[c.Lot] = c
		return err
	}, `SELECT id, kind, type FROM lots WHERE site = $1`, t.site)
	for i := range counts {
		c := types[counts[i].Lot]
		counts[i].Kind, counts[i].Type = c.Kind, c.Type
	}
	return counts, err
}

// InsertUnits inserts units.
func (t *Tx) InsertUnits(ctx context.Context, units []store.Unit) error {
	args := make([][]any, len(units))
	for i := range units {
		u := &units[i]
		args[i] = []any{t.site, u.ID, u.Lot, string(u.State), u.Place, store.Micros(u.UsableUntil), u.Cause, u.Igniter,
			u.Plan, u.Sortie, store.Micros(u.Until), store.Micros(u.IssueTime), store.Micros(u.WaitUntil),
			store.Micros(u.CreateTime), store.Micros(u.UpdateTime), u.Seq}
	}
	done, err := t.each(ctx, `INSERT INTO units (site, `+unitColumns+`)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)`, args)
	if err != nil && t.q.Duplicate(err) {
		id := units[min(len(done), len(units)-1)].ID
		return store.Errorf(store.Exists, "UNIT_EXISTS", "site %s has a unit %s already", t.site, id).With("unit", id)
	}
	return t.fault(err)
}

// ReplaceUnits replaces units that are as they were read. What never changes
// (lot, create time) is not written again.
func (t *Tx) ReplaceUnits(ctx context.Context, units []store.Unit, was []int64) error {
	args := make([][]any, len(units))
	for i := range units {
		u := &units[i]
		args[i] = []any{t.site, u.ID, was[i], string(u.State), u.Place, store.Micros(u.UsableUntil), u.Cause, u.Igniter,
			u.Plan, u.Sortie, store.Micros(u.Until), store.Micros(u.IssueTime), store.Micros(u.WaitUntil),
			store.Micros(u.UpdateTime), u.Seq}
	}
	done, err := t.each(ctx, `UPDATE units SET state = $4, place = $5, usable_until = $6, cause = $7, igniter = $8,
		plan = $9, sortie = $10, until = $11, issue_time = $12, wait_until = $13, update_time = $14, seq = $15
		WHERE site = $1 AND id = $2 AND seq = $3`, args)
	if err != nil {
		return t.fault(err)
	}
	for i, n := range done {
		if n != 1 {
			return changed("unit", units[i].ID)
		}
	}
	return nil
}
