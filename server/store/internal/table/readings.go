package table

import (
	"context"
	"database/sql"
	"math"
	"time"

	"bowroll/server/store"
)

const readingColumns = `lot, time, place, temperature_c, relative_humidity, source, seq`

func scanReading(r Rows) (reading store.Reading, err error) {
	var (
		at       int64
		humidity sql.NullFloat64
	)
	err = r.Scan(&reading.Lot, &at, &reading.Place, &reading.TemperatureC, &humidity, &reading.Source, &reading.Seq)
	reading.Time, reading.RelativeHumidity = store.FromMicros(at), optional(humidity)
	return reading, err
}

// Readings returns readings of a lot.
func (t *Tx) Readings(ctx context.Context, lot string, after time.Time, limit int) (list []store.Reading, err error) {
	from := int64(math.MinInt64)
	if !after.IsZero() {
		from = store.Micros(after)
	}
	err = t.query(ctx, func(r Rows) error {
		reading, err := scanReading(r)
		list = append(list, reading)
		return err
	}, `SELECT `+readingColumns+` FROM readings WHERE site = $1 AND lot = $2 AND time > $3 ORDER BY time, place LIMIT $4`,
		t.site, lot, from, limit)
	return list, err
}

// InsertReadings inserts readings that are not there yet.
func (t *Tx) InsertReadings(ctx context.Context, readings []store.Reading) (int, error) {
	args := make([][]any, len(readings))
	for i := range readings {
		r := &readings[i]
		args[i] = []any{t.site, r.Lot, store.Micros(r.Time), r.Place, r.TemperatureC, nullFloat(r.RelativeHumidity), r.Source, r.Seq}
	}
	done, err := t.each(ctx, `INSERT INTO readings (site, `+readingColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (site, lot, time, place) DO NOTHING`, args)
	if err != nil {
		return 0, t.fault(err)
	}
	added := 0
	for i, n := range done {
		if n == 1 {
			added++
			continue
		}
		if err := t.sameReading(ctx, &readings[i]); err != nil {
			return 0, err
		}
	}
	return added, nil
}

// sameReading refuses a reading that contradicts the one that is there.
func (t *Tx) sameReading(ctx context.Context, reading *store.Reading) error {
	return t.query(ctx, func(r Rows) error {
		old, err := scanReading(r)
		if err != nil {
			return err
		}
		a, b := old.RelativeHumidity, reading.RelativeHumidity
		sameHumidity := (a == nil) == (b == nil) && (a == nil || *a == *b)
		if old.TemperatureC == reading.TemperatureC && sameHumidity {
			return nil
		}
		return store.Errorf(store.Refused, "READING_CONTRADICTS",
			"lot %s has another reading at %s already (%g degrees Celsius, now %g): give the logger a place of its own, or correct the file",
			reading.Lot, reading.Time.UTC().Format(time.RFC3339Nano), old.TemperatureC, reading.TemperatureC).With("lot", reading.Lot)
	}, `SELECT `+readingColumns+` FROM readings WHERE site = $1 AND lot = $2 AND time = $3 AND place = $4`,
		t.site, reading.Lot, store.Micros(reading.Time), reading.Place)
}
