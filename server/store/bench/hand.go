package main

import (
	"context"
	"database/sql"
	"strings"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/sqlite"
)

// byHand writes the rows of a confirmed plan with the bare driver: prepared
// statements, one transaction, values that are known beforehand.
type byHand struct {
	path string
	db   *sql.DB
	conn *sql.Conn
	// reading is the time spent on reading what to write, which does not count.
	reading time.Duration

	unit, movement, reservation, plan, head *sql.Stmt
}

// newByHand makes a store for its schema and opens the file with the driver.
func newByHand(ctx context.Context, path string) (*byHand, error) {
	s, err := sqlite.Open(ctx, path, sqlite.Options{})
	if err != nil {
		return nil, err
	}
	if err := s.Close(); err != nil {
		return nil, err
	}
	b := &byHand{path: path}
	b.db, err = sql.Open("sqlite3", "file:"+path+"?_txlock=immediate&_pragma=busy_timeout(5000)&_pragma=foreign_keys(on)&_pragma=synchronous(FULL)")
	if err != nil {
		return nil, err
	}
	if b.conn, err = b.db.Conn(ctx); err != nil {
		return nil, err
	}
	for text, target := range map[string]**sql.Stmt{
		`UPDATE units SET state = 'reserved', plan = ?2, sortie = ?3, until = ?4, update_time = ?5, seq = ?6 WHERE site = ?7 AND id = ?1`: &b.unit,
		`INSERT INTO movements VALUES (` + strings.Repeat("?, ", 19) + `?)`:                                                               &b.movement,
		`INSERT INTO reservations VALUES (?, ?, ?, ?, ?, ?, NULL)`:                                                                        &b.reservation,
		`UPDATE plans SET state = 'confirmed', hold_until = ?3, sorties = ?4, update_time = ?5, seq = ?6 WHERE site = ?1 AND id = ?2`:     &b.plan,
		`UPDATE sites SET seq = ?2, hash = ?3 WHERE site = ?1`:                                                                            &b.head,
	} {
		if *target, err = b.conn.PrepareContext(ctx, text); err != nil {
			return nil, err
		}
	}
	return b, nil
}

func (b *byHand) close() { b.db.Close() }

// stock copies what s holds of a site.
func (b *byHand) stock(ctx context.Context, s *sqlite.Store, site string) error {
	copied := b.path + "." + site
	if err := s.Backup(ctx, copied); err != nil {
		return err
	}
	if _, err := b.conn.ExecContext(ctx, `ATTACH ?1 AS other`, copied); err != nil {
		return err
	}
	for _, table := range []string{"sites", "movements", "lots", "units", "plans"} {
		if _, err := b.conn.ExecContext(ctx, `INSERT INTO main.`+table+` SELECT * FROM other.`+table+` WHERE site = ?1`, site); err != nil {
			return err
		}
	}
	_, err := b.conn.ExecContext(ctx, `DETACH other`)
	return err
}

// confirm writes what s wrote when it confirmed the plans of a site.
func (b *byHand) confirm(ctx context.Context, s *sqlite.Store, site string, plans int) error {
	b.reading = 0
	for i := range plans {
		start := time.Now()
		entries, kept, sortiesText, err := rowsOf(ctx, s, site, planID(i))
		b.reading += time.Since(start)
		if err != nil {
			return err
		}
		if err := b.write(ctx, site, entries, kept, sortiesText); err != nil {
			return err
		}
	}
	return nil
}

// rowsOf reads the rows of a confirmed plan.
func rowsOf(ctx context.Context, s *sqlite.Store, site, id string) (entries []store.Movement, plan store.Plan, sortiesText string, err error) {
	err = s.View(ctx, site, func(ctx context.Context, r store.Reader) error {
		if plan, err = r.Plan(ctx, id); err != nil {
			return err
		}
		all, err := r.Movements(ctx, store.MovementFilter{Plan: id}, 0, 1000)
		for _, m := range all {
			if m.Event == store.Reserve || m.Event == store.ConfirmPlan {
				entries = append(entries, m)
			}
		}
		return err
	})
	// The text is as long as the one that is written.
	var text strings.Builder
	for _, sortie := range plan.Sorties {
		text.WriteString(`{"id":"` + sortie.ID + `","state":"planned","launch_time":"2031-05-04T05:00:00Z","draws":[{"lot":"lot-0000","count":3,"units":["` +
			strings.Join(sortie.Draws[0].Units, `","`) + `"]}]},`)
	}
	return entries, plan, "[" + strings.TrimSuffix(text.String(), ",") + "]", err
}

// write writes them in one transaction.
func (b *byHand) write(ctx context.Context, site string, entries []store.Movement, plan store.Plan, sortiesText string) error {
	tx, err := b.conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // after a commit there is nothing to roll back
	for i := range entries {
		m := &entries[i]
		detail := m.Detail
		if detail == nil {
			detail = []byte{}
		}
		if _, err := b.movement.ExecContext(ctx, site, m.Seq, m.Time.UnixMicro(), string(m.Event), m.Lot, m.Unit, m.Plan, m.Sortie,
			string(m.From), string(m.To), m.Actor, m.Place, m.Reason, m.Authority, m.Igniter, store.Micros(m.Until), m.Request,
			detail, m.Previous[:], m.Hash[:]); err != nil {
			return err
		}
		if m.Unit == "" {
			continue
		}
		if _, err := b.unit.ExecContext(ctx, m.Unit, m.Plan, m.Sortie, store.Micros(m.Until), m.Time.UnixMicro(), m.Seq, site); err != nil {
			return err
		}
		if _, err := b.reservation.ExecContext(ctx, site, m.Unit, m.Seq, m.Plan, m.Sortie, store.Micros(m.Until)); err != nil {
			return err
		}
	}
	last := &entries[len(entries)-1]
	if _, err := b.plan.ExecContext(ctx, site, plan.ID, store.Micros(plan.HoldUntil), sortiesText, last.Time.UnixMicro(), last.Seq); err != nil {
		return err
	}
	if _, err := b.head.ExecContext(ctx, site, last.Seq, last.Hash[:]); err != nil {
		return err
	}
	return tx.Commit()
}
