package board_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
)

// sweep keeps a sweep that is done and one that was cancelled before.
func (w *world) sweep(ctx context.Context) {
	t := w.t
	t.Helper()
	to := bowrollv1.NewSweepsClient(w.conn)
	create := func(id, why string, count int32) *bowrollv1.Sweep {
		t.Helper()
		between := func(field string, first, last float64) *bowrollv1.SweepAxis {
			return &bowrollv1.SweepAxis{Field: field, Range: &bowrollv1.SweepRange{FirstValue: &first, LastValue: &last, Count: &count}}
		}
		made, err := to.CreateSweep(ctx, &bowrollv1.CreateSweepRequest{Parent: "sites/varrow", SweepId: id, DisplayName: why, Actor: "analyst", RequestId: "create-" + id,
			Spec: &bowrollv1.SweepSpec{Method: bowrollv1.SweepMethod_SWEEP_METHOD_GRID, Case: &bowrollv1.TakeoffCase{AircraftType: "aircraftTypes/corvane", Flap: "takeoff",
				Air:  &bowrollv1.Air{PressureAltitudeM: proto.Float64(0), TemperatureC: proto.Float64(15)},
				Deck: "sites/varrow/decks/main", Spot: "s6"},
				Axes: []*bowrollv1.SweepAxis{between("gross_mass_kg", 5200, 6400), between("headwind_mps", 0, 15)}}})
		if err != nil {
			t.Fatal(err)
		}
		return made
	}
	create("mass-and-wind", "What the spring masses need", 20)
	for end := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) {
		s, err := to.GetSweep(ctx, &bowrollv1.GetSweepRequest{Name: "sites/varrow/sweeps/mass-and-wind"})
		if err != nil || time.Now().After(end) {
			t.Fatal(s, err)
		}
		if s.GetState() == bowrollv1.SweepState_SWEEP_STATE_DONE {
			break
		}
	}
	s := create("too-fine", "", 3000)
	if _, err := to.CancelSweep(ctx, &bowrollv1.CancelSweepRequest{Name: s.GetName(), Etag: s.GetEtag(), Reason: "asked too finely", Actor: "analyst", RequestId: "cancel-too-fine"}); err != nil {
		t.Fatal(err)
	}
}

func TestSweepsAndTheirRows(t *testing.T) {
	w := begin(t, true)
	w.sweep(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+w.token("analyst", "planner@varrow", "analyst@varrow")))
	enter := func(name, grant string) *visitor {
		v := w.visitor()
		if code, text, _ := v.post("/sign-in", url.Values{"token": {w.token(name, grant)}, "next": {"/"}}); code != http.StatusOK {
			t.Fatal(code, inMain(text))
		}
		return v
	}
	v := enter("analyst-7", "reader@varrow")
	for path, words := range map[string][]string{
		"/sweeps":                      {"Varrow"},
		"/sweeps/varrow":               {"mass-and-wind", "done", "100.0 % of 400 rows", "too-fine", "cancelled", "asked too finely", "What the spring masses need"},
		"/sweeps/varrow/mass-and-wind": {"gross_mass_kg", "5,200 to 6,400, 20 values", "grid", "rows.csv", "rows.parquet", "rows.ndjson", "Rows that may go", "run_m"},
		"/sweeps/varrow/too-fine":      {"asked too finely", "of 9,000,000 rows", "bowroll sweep read"},
	} {
		code, text, header := v.get(path)
		if code != http.StatusOK {
			t.Errorf("%s: %d %s", path, code, inMain(text))
		}
		checkPage(t, path, text, header)
		for _, word := range words {
			if !strings.Contains(text, word) {
				t.Errorf("%s does not say %q: %s", path, word, inMain(text))
			}
		}
	}
	if _, text, _ := v.get("/sweeps/varrow/too-fine"); strings.Contains(text, "rows.csv") {
		t.Error("rows that are not there are offered")
	}

	code, text, header := v.get("/sweeps/varrow/mass-and-wind/rows.csv")
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if code != http.StatusOK || err != nil || len(rows) != 401 || header.Get("Content-Disposition") != `attachment; filename="mass-and-wind.csv"` {
		t.Errorf("csv: %d, %v, %d rows, %v", code, err, len(rows), header)
	}
	for file, begins := range map[string]string{"rows.ndjson": "{", "rows.parquet": "PAR1"} {
		if code, text, _ := v.get("/sweeps/varrow/mass-and-wind/" + file); code != http.StatusOK || !strings.HasPrefix(text, begins) {
			t.Errorf("%s: %d, begins %q", file, code, fmt.Sprintf("%.20s", text))
		}
	}
	// What is refused is said in a page.
	stranger := enter("else-1", "reader@skarn")
	for _, c := range []struct {
		v    *visitor
		path string
		code int
	}{
		{v, "/sweeps/varrow/none", 404}, {v, "/sweeps/varrow/none/rows.csv", 404}, {v, "/sweeps/varrow/mass-and-wind/rows.xls", 404},
		{v, "/sweeps/varrow/too-fine/rows.csv", 409}, {stranger, "/sweeps/varrow", 403}, {stranger, "/sweeps/varrow/mass-and-wind/rows.csv", 403},
	} {
		code, text, header := c.v.get(c.path)
		if code != c.code {
			t.Errorf("%s: %d %s", c.path, code, inMain(text))
		}
		checkPage(t, c.path, text, header)
	}
}

// breaking gives a piece of a file and fails.
type breaking struct {
	bowrollv1.UnimplementedSweepsServer
}

func (breaking) ReadSweep(_ *bowrollv1.ReadSweepRequest, to grpc.ServerStreamingServer[bowrollv1.ReadSweepResponse]) error {
	if err := to.Send(&bowrollv1.ReadSweepResponse{Content: []byte("run_m\n120\n")}); err != nil {
		return err
	}
	return status.Error(codes.Unavailable, "the store is gone")
}

func TestRowsThatBreakOffDoNotPassForWhole(t *testing.T) {
	web := beginWith(t, func(s *server.Services) { s.Sweeps = breaking{} })
	r, err := web.Client().Get(web.URL + "/sweeps/varrow/mass-and-wind/rows.csv")
	if err != nil {
		return // it broke before the browser was told anything
	}
	defer r.Body.Close()
	if text, err := io.ReadAll(r.Body); err == nil {
		t.Errorf("a file that broke off came as whole: %q", text)
	}
}
