package ledger

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"bowroll/server/store"
)

// readDigest is what the log says of readings. Entries of earlier programs have a
// count and a digest of all that were sent, in the order they were sent; later
// ones a digest of those that were new, in the order of time, then place.
type readDigest struct {
	Count  int    `json:"count"`
	Added  *int   `json:"added,omitempty"`
	Digest string `json:"digest"`
	// First and Last are the instants of the first and the last that was new.
	First time.Time `json:"first,omitzero"`
	Last  time.Time `json:"last,omitzero"`
}

// digestOf is the digest of readings of which some are new.
func digestOf(count int, fresh []store.Reading) readDigest {
	added := len(fresh)
	d := readDigest{Count: count, Added: &added, Digest: sumReadings(fresh)}
	if added > 0 {
		d.First, d.Last = fresh[0].Time, fresh[added-1].Time
	}
	return d
}

func sumReadings(readings []store.Reading) string {
	h := sha256.New()
	for _, r := range readings {
		humidity := -1.0
		if r.RelativeHumidity != nil {
			humidity = *r.RelativeHumidity
		}
		fmt.Fprintf(h, "%d %q %q ", store.Micros(r.Time), r.Place, r.Source)
		_ = binary.Write(h, binary.BigEndian, [2]uint64{math.Float64bits(r.TemperatureC), math.Float64bits(humidity)})
	}
	return "sha256:" + hex.EncodeToString(h.Sum(nil)[:16])
}

// sortReadings puts readings in the order of time, then place.
func sortReadings(list []store.Reading) {
	slices.SortStableFunc(list, func(a, b store.Reading) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Place, b.Place))
	})
}

// unknownReadings are those of readings that the lot does not have, each once, in
// the order of time, then place.
func (b *Book) unknownReadings(ctx context.Context, lot string, readings []store.Reading) ([]store.Reading, error) {
	if len(readings) == 0 {
		return nil, nil
	}
	list := slices.Clone(readings)
	for i := range list {
		list[i].Time = store.FromMicros(store.Micros(list[i].Time))
	}
	sortReadings(list)
	known, err := readingsBetween(ctx, b.tx, lot, list[0].Time, list[len(list)-1].Time)
	if err != nil {
		return nil, err
	}
	type key struct {
		at    int64
		place string
	}
	there := map[key]bool{}
	for _, r := range known {
		there[key{store.Micros(r.Time), r.Place}] = true
	}
	return slices.DeleteFunc(list, func(r store.Reading) bool {
		k := key{store.Micros(r.Time), r.Place}
		was := there[k]
		there[k] = true
		return was
	}), nil
}

// readingsBetween are the readings of a lot from one instant to another, both in.
func readingsBetween(ctx context.Context, r store.Reader, lot string, first, last time.Time) ([]store.Reading, error) {
	all, err := allReadings(ctx, r, lot, first.Add(-time.Microsecond), last)
	if err != nil {
		return nil, err
	}
	end := len(all)
	for end > 0 && all[end-1].Time.After(last) {
		end--
	}
	return all[:end], nil
}

// ContentOf returns what an entry holds a digest of, where it has any and the
// digest can be made from what is kept.
func ContentOf(ctx context.Context, r store.Reader, m store.Movement) (content store.Content, ok bool, err error) {
	content.Seq = m.Seq
	switch m.Event {
	case store.Read:
		var d readDigest
		if json.Unmarshal(m.Detail, &d) != nil || d.Added != nil && *d.Added == 0 {
			return content, false, nil
		}
		var list []store.Reading
		if d.Added != nil {
			list, err = readingsBetween(ctx, r, m.Lot, d.First, d.Last)
		} else {
			list, err = AllReadings(ctx, r, m.Lot)
		}
		content.Readings = slices.DeleteFunc(list, func(one store.Reading) bool { return one.Seq != m.Seq })
		return content, err == nil && provesReadings(m, content.Readings), err
	case store.SavePlan:
		plan, err := r.Plan(ctx, m.Plan)
		if store.Is(err, store.NotFound) {
			return content, false, nil // a copy to which it has not come
		}
		content.Cycle, content.Answer = plan.Cycle, plan.Answer
		return content, err == nil, err
	}
	return content, false, nil
}

func provesReadings(m store.Movement, list []store.Reading) bool {
	var d readDigest
	return json.Unmarshal(m.Detail, &d) == nil && d.Digest == sumReadings(list)
}

func provesPlan(m store.Movement, content store.Content) bool {
	var d planDigest
	return json.Unmarshal(m.Detail, &d) == nil && d.Cycle == sum(content.Cycle) && d.Answer == sum(content.Answer)
}
