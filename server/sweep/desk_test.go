package sweep

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/zap"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
	"bowroll/server/store/sqlite"
)

// sums is a computer whose rows are the sums of their inputs, a seventh of them
// refused. It calls at before each row.
type sums struct{ at func(row []float64) }

func (s sums) Prepare(context.Context, *bowrollv1.SweepSpec, *Plan, string) (Kernel, error) {
	return s, nil
}

func (s sums) Row(inputs []float64, into *Row) error {
	if s.at != nil {
		s.at(inputs)
	}
	total := 0.0
	for _, v := range inputs {
		total += v
	}
	*into = Row{Outcome: 1, Goes: int(total)%2 == 0}
	if int(total)%7 == 0 {
		*into = Row{Fault: "a seventh, \"so to speak\""}
		return nil
	}
	for i := range into.Numbers {
		into.Numbers[i] = total + float64(i)/8
	}
	into.Numbers[CommandS] = math.NaN()
	return nil
}

var noon = time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)

// room is a desk over a store of its own, with a clock that the test moves.
type room struct {
	*Desk
	t    testing.TB
	path string
	time time.Time
}

func newRoom(t testing.TB, c Computer) *room {
	t.Helper()
	r := &room{t: t, path: filepath.Join(t.TempDir(), "bowroll.db"), time: noon}
	kept, err := sqlite.Open(t.Context(), r.path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = kept.Close() })
	if r.Desk, err = NewDesk(kept, c, func() time.Time { return r.time }); err != nil {
		t.Fatal(err)
	}
	return r
}

// update changes the store of the site "tern".
func (r *room) update(change func(ctx context.Context, tx store.Tx) error) {
	r.t.Helper()
	if _, _, err := r.store.Update(context.Background(), "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		return nil, change(ctx, tx)
	}); err != nil {
		r.t.Fatal(err)
	}
}

// keep keeps a sweep of rows in parts of each rows, and queues it.
func (r *room) keep(id string, rows, each int32, model string) store.Sweep {
	r.t.Helper()
	spec, err := proto.Marshal(grid(rows))
	if err != nil {
		r.t.Fatal(err)
	}
	s := store.Sweep{
		Site: "tern", ID: id, State: store.SweepQueued, Spec: spec, ModelVersion: model, CatalogRevision: "sha256:1", RequestDigest: "sha256:" + strings.Repeat("7", 64),
		Rows: int64(rows), ChunkRows: int64(each), Chunks: int64(Chunks(int(rows), int(each))), CreateTime: r.time, Version: 1,
	}
	r.update(func(ctx context.Context, tx store.Tx) error {
		return errors.Join(tx.PutSweep(ctx, s, 0), r.Enqueue(ctx, tx, s))
	})
	return s
}

// compute works until the sweep has ended or is gone, and returns it.
func (r *room) compute(id string) (s store.Sweep) {
	r.t.Helper()
	stop, err := r.Start(context.Background(), 2, DefaultRescue, zap.NewNop())
	if err != nil {
		r.t.Fatal(err)
	}
	for until := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		err := r.store.View(context.Background(), "tern", func(ctx context.Context, reader store.Reader) (err error) {
			s, err = reader.Sweep(ctx, id)
			return err
		})
		if store.Is(err, store.NotFound) || err == nil && s.State.Ended() {
			break
		}
		if err != nil || time.Now().After(until) {
			r.t.Fatalf("sweep %s does not end: %v, %v", id, s.State, err)
		}
	}
	if err := stop(context.Background()); err != nil {
		r.t.Fatal(err)
	}
	return s
}

// files are the files of results.
func (r *room) files() (list []string) {
	_ = filepath.WalkDir(r.path+".sweeps", func(path string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() {
			list = append(list, path)
		}
		return nil
	})
	return list
}

func grid(rows int32) *bowrollv1.SweepSpec {
	return &bowrollv1.SweepSpec{Method: bowrollv1.SweepMethod_SWEEP_METHOD_GRID, Axes: []*bowrollv1.SweepAxis{
		{Field: "headwind_mps", Range: &bowrollv1.SweepRange{FirstValue: proto.Float64(0), LastValue: proto.Float64(float64(rows - 1)), Count: &rows}},
	}}
}

// TestPartsOfAnySizeGiveTheSameFiles computes the same rows in parts of different
// sizes and reads them in every format, whole and a stretch.
func TestPartsOfAnySizeGiveTheSameFiles(t *testing.T) {
	r := newRoom(t, sums{})
	var want [3][2][32]byte
	for i, each := range []int32{1000, 31, 64, 999} {
		id := "s" + string(rune('a'+i))
		if got := r.keepAndCompute(id, 1000, each); got.State != store.SweepDone || got.RowsDone != 1000 {
			t.Fatalf("%+v", got)
		}
		kept := r.find(id)
		for f, format := range []bowrollv1.SweepFormat{bowrollv1.SweepFormat_SWEEP_FORMAT_NDJSON, bowrollv1.SweepFormat_SWEEP_FORMAT_CSV, bowrollv1.SweepFormat_SWEEP_FORMAT_PARQUET} {
			for p, part := range []Rows{{0, 1000}, {333, 501}} {
				var file bytes.Buffer
				if _, err := r.Read(t.Context(), kept, format, part, &file); err != nil {
					t.Fatal(err)
				}
				sum := sumOf(file.Bytes())
				if i == 0 {
					want[f][p] = sum
				} else if sum != want[f][p] {
					t.Errorf("parts of %d rows: rows %v as %v differ", each, part, format)
				}
			}
		}
	}
}

// TestLateResultsOfADeletedSweepAreRemoved deletes a sweep while a part is being
// computed, and makes a namesake at once.
func TestLateResultsOfADeletedSweepAreRemoved(t *testing.T) {
	var r *room
	var deleted, made atomic.Bool
	r = newRoom(t, sums{at: func(row []float64) {
		if row[0] != 5 || !deleted.CompareAndSwap(false, true) {
			return
		}
		kept := r.find("late")
		r.update(func(ctx context.Context, tx store.Tx) error { return tx.DeleteSweep(ctx, "late", kept.Version) })
		if err := r.Remove(context.Background(), kept); err != nil {
			t.Error(err)
		}
		r.time = r.time.Add(time.Second)
		r.keep("late", 10, 5, perf.ModelVersion)
		made.Store(true)
	}})
	r.keep("late", 10, 10, perf.ModelVersion)
	stop, err := r.Start(context.Background(), 1, DefaultRescue, zap.NewNop())
	if err != nil {
		t.Fatal(err)
	}
	for until := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		if made.Load() && r.find("late").State == store.SweepDone {
			break
		}
		if time.Now().After(until) {
			t.Fatal("the namesake is not computed")
		}
	}
	if err := stop(context.Background()); err != nil {
		t.Fatal(err)
	}
	// One worker finished the deleted part before it began the namesake's two.
	if left := r.files(); len(left) != 2 {
		t.Errorf("%v", left)
	}
}

// TestResultsOfNobodyAreRemoved leaves the results of a sweep behind, as a death
// between the deletion and theirs does.
func TestResultsOfNobodyAreRemoved(t *testing.T) {
	r := newRoom(t, sums{})
	r.keepAndCompute("gone", 10, 5)
	r.keepAndCompute("kept", 10, 5)
	r.update(func(ctx context.Context, tx store.Tx) error {
		return tx.DeleteSweep(ctx, "gone", r.find("gone").Version)
	})
	if len(r.files()) != 4 {
		t.Fatal(r.files())
	}
	if err := r.tidy(t.Context()); err != nil {
		t.Fatal(err)
	}
	if left := r.files(); len(left) != 2 || !strings.Contains(left[0], "kept") {
		t.Errorf("%v", left)
	}
}

// TestSweepOfAnotherModelSaysSo starts a service of one model over a sweep that
// another was to compute.
func TestSweepOfAnotherModelSaysSo(t *testing.T) {
	r := newRoom(t, sums{})
	r.keep("old", 10, 5, "0.0.1")
	got := r.compute("old")
	for _, want := range []string{"0.0.1", perf.ModelVersion, "create it anew"} {
		if got.State != store.SweepFailed || !strings.Contains(got.Reason, want) {
			t.Errorf("%s, %q does not say %q", got.State, got.Reason, want)
		}
	}
}

// TestSweepsAreKeptAsLongAsSaid moves the clock past the end of what is kept.
func TestSweepsAreKeptAsLongAsSaid(t *testing.T) {
	r := newRoom(t, sums{})
	r.keepAndCompute("first", 10, 5)
	r.time = r.time.Add(time.Hour)
	r.keepAndCompute("second", 10, 5)
	r.time = r.time.Add(time.Hour)
	r.keep("waiting", 10, 5, perf.ModelVersion)
	ids := func() (text string) {
		_ = r.store.View(t.Context(), "tern", func(ctx context.Context, reader store.Reader) error {
			list, err := reader.Sweeps(ctx, store.SweepFilter{}, "", 10)
			for _, s := range list {
				text += s.ID + " "
			}
			return err
		})
		return text
	}
	for _, step := range []struct {
		after time.Duration
		keep  time.Duration
		want  string
		files int
	}{
		{0, 0, "first second waiting ", 4},
		{0, 2 * time.Hour, "first second waiting ", 4},
		{time.Second, 2 * time.Hour, "second waiting ", 2},
		{time.Hour, 2 * time.Hour, "waiting ", 0},
		{9000 * time.Hour, 2 * time.Hour, "waiting ", 0},
	} {
		r.time = r.time.Add(step.after)
		if err := r.tend(t.Context(), step.keep); err != nil {
			t.Fatal(err)
		}
		if got := ids(); got != step.want || len(r.files()) != step.files {
			t.Errorf("at %v, keeping %v: %q and %d files, want %q and %d", r.time, step.keep, got, len(r.files()), step.want, step.files)
		}
	}
}

func (r *room) keepAndCompute(id string, rows, each int32) store.Sweep {
	r.t.Helper()
	r.keep(id, rows, each, perf.ModelVersion)
	return r.compute(id)
}

func (r *room) find(id string) (s store.Sweep) {
	r.t.Helper()
	if err := r.store.View(context.Background(), "tern", func(ctx context.Context, reader store.Reader) (err error) {
		s, err = reader.Sweep(ctx, id)
		return err
	}); err != nil {
		r.t.Fatal(err)
	}
	return s
}

// TestDamagedResultsAreNotRead changes one bit of a part.
func TestDamagedResultsAreNotRead(t *testing.T) {
	r := newRoom(t, sums{})
	r.keepAndCompute("hurt", 100, 100)
	file := r.files()[0]
	body, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	body[len(body)/2] ^= 1
	if err := os.WriteFile(file, body, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = r.Read(t.Context(), r.find("hurt"), bowrollv1.SweepFormat_SWEEP_FORMAT_CSV, Rows{0, 100}, &bytes.Buffer{})
	if !store.Is(err, store.Corrupt) {
		t.Errorf("damaged results: %v", err)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	_, err = r.Read(t.Context(), r.find("hurt"), bowrollv1.SweepFormat_SWEEP_FORMAT_CSV, Rows{0, 100}, &bytes.Buffer{})
	if err == nil || !strings.Contains(err.Error(), "are not there") {
		t.Errorf("missing results: %v", err)
	}
}

// TestIndexAndCombinationAreOneToOne goes from every row to the places of its
// values and back.
func TestIndexAndCombinationAreOneToOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &bowrollv1.SweepSpec{Method: bowrollv1.SweepMethod_SWEEP_METHOD_GRID}
		for i, field := range []string{"headwind_mps", "gross_mass_kg", "air.temperature_c", "boosters.count"}[:rapid.IntRange(1, 4).Draw(t, "axes")] {
			values := rapid.SliceOfNDistinct(rapid.Float64Range(-1e3, 1e3), 1, 6, rapid.ID).Draw(t, "values")
			if i == 1 {
				s.Axes = append(s.Axes, &bowrollv1.SweepAxis{Field: "spot", Words: []string{"s4", "s5", "s6"}})
			}
			s.Axes = append(s.Axes, &bowrollv1.SweepAxis{Field: field, Values: values})
		}
		p := NewPlan(s)
		inputs := make([]float64, len(p.Axes))
		for row := range p.Rows {
			p.Inputs(row, inputs)
			back := 0
			for i := range p.Axes {
				at := -1
				for k := range p.Axes[i].Count() {
					if p.Axes[i].at(k) == inputs[i] {
						at = k
					}
				}
				if at < 0 {
					t.Fatalf("row %d: %v is no value of axis %d", row, inputs[i], i)
				}
				back = back*p.Axes[i].Count() + at
			}
			if back != row {
				t.Fatalf("row %d has the inputs of row %d", row, back)
			}
		}
	})
}

// TestBackupsHoldTheResults backs a store up with its results, and restores it.
func TestBackupsHoldTheResults(t *testing.T) {
	r := newRoom(t, sums{})
	r.keepAndCompute("kept", 100, 30)
	folder := t.TempDir()
	backup, restored := filepath.Join(folder, "backup.db"), filepath.Join(folder, "restored.db")
	if err := sqlite.Backup(t.Context(), r.path, backup); err != nil {
		t.Fatal(err)
	}
	if err := sqlite.Restore(t.Context(), backup, restored); err != nil {
		t.Fatal(err)
	}
	kept, err := sqlite.Open(t.Context(), restored, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	desk, err := NewDesk(kept, sums{}, func() time.Time { return noon })
	if err != nil {
		t.Fatal(err)
	}
	var want, got bytes.Buffer
	for _, one := range []struct {
		desk *Desk
		file *bytes.Buffer
	}{{r.Desk, &want}, {desk, &got}} {
		if _, err := one.desk.Read(t.Context(), r.find("kept"), bowrollv1.SweepFormat_SWEEP_FORMAT_NDJSON, Rows{0, 100}, one.file); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(got.Bytes(), want.Bytes()) || want.Len() == 0 {
		t.Errorf("restored:\n%s\nwas:\n%s", got.Bytes(), want.Bytes())
	}
}
