package table

import (
	"context"

	"bowroll/server/store"
)

const (
	runColumns = `id, aircraft_type, tail, deck, lot, plan, sortie, launch_time, supersedes, actor, model_version, catalog_revision, create_time, body`
	// supersededBy finds the record that took the place of one.
	supersededBy = `coalesce((SELECT o.id FROM observed_runs o WHERE o.site = observed_runs.site AND o.supersedes = observed_runs.id), '')`
)

func (t *Tx) queryRuns(ctx context.Context, statement string, args ...any) (runs []store.ObservedRun, err error) {
	err = t.query(ctx, func(r Rows) error {
		one := store.ObservedRun{Site: t.site}
		var launchTime, createTime int64
		var body []byte
		err := r.Scan(&one.ID, &one.AircraftType, &one.Tail, &one.Deck, &one.Lot, &one.Plan, &one.Sortie, &launchTime, &one.Supersedes,
			&one.Actor, &one.ModelVersion, &one.CatalogRevision, &createTime, &body, &one.SupersededBy)
		one.LaunchTime, one.CreateTime, one.Body = store.FromMicros(launchTime), store.FromMicros(createTime), body
		runs = append(runs, one)
		return err
	}, statement, args...)
	return runs, err
}

// ObservedRun returns one run.
func (t *Tx) ObservedRun(ctx context.Context, id string) (store.ObservedRun, error) {
	runs, err := t.queryRuns(ctx, `SELECT `+runColumns+`, `+supersededBy+` FROM observed_runs WHERE site = $1 AND id = $2`, t.site, id)
	if err == nil && len(runs) == 0 {
		err = store.Errorf(store.NotFound, "OBSERVED_RUN_NOT_FOUND", "site %s has no observed run %s", t.site, id).With("observed_run", id)
	}
	if err != nil {
		return store.ObservedRun{}, err
	}
	return runs[0], nil
}

// ObservedRuns returns runs in the order of their ids.
func (t *Tx) ObservedRuns(ctx context.Context, filter store.ObservedRunFilter, after string, limit int) ([]store.ObservedRun, error) {
	w := t.where()
	w.andText("aircraft_type", filter.AircraftType)
	w.andText("tail", filter.Tail)
	w.andText("deck", filter.Deck)
	w.andText("lot", filter.Lot)
	w.andText("plan", filter.Plan)
	if !filter.Superseded {
		w.text.WriteString(" AND " + supersededBy + " = ''")
	}
	w.and("id > $%d", after)
	rest := w.limit("id", limit)
	return t.queryRuns(ctx, `SELECT `+runColumns+`, `+supersededBy+` FROM observed_runs WHERE `+rest, w.args...)
}

// InsertObservedRun inserts a run.
func (t *Tx) InsertObservedRun(ctx context.Context, run store.ObservedRun) error {
	// Looked up first, so that the error can tell the two unique keys apart; the
	// schema holds whatever comes between.
	if run.Supersedes != "" {
		old, err := t.ObservedRun(ctx, run.Supersedes)
		if err != nil {
			return err
		}
		if old.SupersededBy != "" {
			return store.Errorf(store.Changed, "SUPERSEDED", "observed run %s is superseded by %s already: supersede that one", run.Supersedes, old.SupersededBy).
				With("observed_run", old.SupersededBy)
		}
	}
	_, err := t.exec(ctx, `INSERT INTO observed_runs (site, `+runColumns+`)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`,
		t.site, run.ID, run.AircraftType, run.Tail, run.Deck, run.Lot, run.Plan, run.Sortie, store.Micros(run.LaunchTime), run.Supersedes,
		run.Actor, run.ModelVersion, run.CatalogRevision, store.Micros(run.CreateTime), bytesOf(run.Body))
	if err != nil && t.q.Duplicate(err) {
		return store.Errorf(store.Exists, "OBSERVED_RUN_EXISTS", "site %s has an observed run %s already: what is recorded stays; supersede it to correct it", t.site, run.ID).
			With("observed_run", run.ID)
	}
	return err
}

const correctionColumns = `id, state, aircraft_type, catalog_revision, create_time, update_time, seq, body`

func (t *Tx) queryCorrections(ctx context.Context, statement string, args ...any) (list []store.Correction, err error) {
	err = t.query(ctx, func(r Rows) error {
		var one store.Correction
		var state string
		var createTime, updateTime int64
		var body []byte
		err := r.Scan(&one.ID, &state, &one.AircraftType, &one.CatalogRevision, &createTime, &updateTime, &one.Seq, &body)
		one.State, one.Body = store.CorrectionState(state), body
		one.CreateTime, one.UpdateTime = store.FromMicros(createTime), store.FromMicros(updateTime)
		list = append(list, one)
		return err
	}, statement, args...)
	return list, err
}

// Correction returns one correction.
func (t *Tx) Correction(ctx context.Context, id string) (store.Correction, error) {
	list, err := t.queryCorrections(ctx, `SELECT `+correctionColumns+` FROM corrections WHERE site = $1 AND id = $2`, t.site, id)
	if err == nil && len(list) == 0 {
		err = store.Errorf(store.NotFound, "CORRECTION_NOT_FOUND", "there is no correction %s", id).With("correction", id)
	}
	if err != nil {
		return store.Correction{}, err
	}
	return list[0], nil
}

// Corrections returns corrections in the order of their ids.
func (t *Tx) Corrections(ctx context.Context, aircraftType, after string, limit int) ([]store.Correction, error) {
	w := t.where()
	w.andText("aircraft_type", aircraftType)
	w.and("id > $%d", after)
	rest := w.limit("id", limit)
	return t.queryCorrections(ctx, `SELECT `+correctionColumns+` FROM corrections WHERE `+rest, w.args...)
}

// PutCorrection inserts or replaces a correction. What never changes (type,
// revision, create time) is written once.
func (t *Tx) PutCorrection(ctx context.Context, c store.Correction, was int64) error {
	if was == 0 {
		_, err := t.exec(ctx, `INSERT INTO corrections (site, `+correctionColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			t.site, c.ID, string(c.State), c.AircraftType, c.CatalogRevision, store.Micros(c.CreateTime), store.Micros(c.UpdateTime), c.Seq, bytesOf(c.Body))
		if err != nil && t.q.Duplicate(err) {
			return store.Errorf(store.Exists, "CORRECTION_EXISTS", "there is a correction %s already: take another id", c.ID).With("correction", c.ID)
		}
		return err
	}
	n, err := t.exec(ctx, `UPDATE corrections SET state = $3, update_time = $4, seq = $5, body = $6 WHERE site = $1 AND id = $2 AND seq = $7`,
		t.site, c.ID, string(c.State), store.Micros(c.UpdateTime), c.Seq, bytesOf(c.Body), was)
	if err == nil && n != 1 {
		return changed("correction", c.ID)
	}
	return err
}
