package chart_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bowroll/client/sheet/chart"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// answer is the wind limits of a load with 0, 2 and 4 units, and with 6 in no
// wind; any is whether 4 units go in any headwind.
func answer(wide bool) *bowrollv1.WindLimitsComputeResponse {
	out := &bowrollv1.WindLimitsComputeResponse{
		Cautions:   []*bowrollv1.Caution{{Id: "near-relief-pressure", Severity: bowrollv1.Severity_SEVERITY_WARNING, Text: "Chamber pressure is within 90 kPa of the relief pressure at 44.0 degC."}},
		Provenance: &bowrollv1.Provenance{ModelVersion: "1.0.0", CatalogRevision: "sha256:0123456789abcdef", RequestDigest: "sha256:0123"},
	}
	cross, tail, ceiling := 7.0, 2.0, 22.0
	if wide {
		cross, tail = 14, 8
	}
	for _, load := range []struct {
		units int32
		least float64
	}{{0, 16}, {2, 9}, {4, -3}} {
		l := &bowrollv1.WindLimit{UnitCount: load.units, CrosswindLimitMps: &cross, TailwindLimitMps: &tail, WindCeilingMps: &ceiling,
			LeastHeadwindMps: &bowrollv1.Limit{State: bowrollv1.LimitState_LIMIT_STATE_FOUND, Value: &load.least}}
		for deg := 0.0; deg < 360; deg += 5 {
			sin, cos := math.Sincos(deg * math.Pi / 180)
			low, high := 0.0, ceiling
			if load.least > 0 {
				if low = load.least / cos; cos <= 1e-9 {
					low = math.Inf(1)
				}
			} else if cos < -1e-9 {
				high = min(high, load.least/cos, tail/-cos)
			}
			if math.Abs(sin) > 1e-9 {
				high = min(high, cross/math.Abs(sin))
			}
			p := &bowrollv1.EnvelopePoint{RelativeFromDeg: deg, Open: low <= high}
			if p.Open {
				p.LeastMps, p.GreatestMps = &low, &high
			}
			l.Envelope = append(l.Envelope, p)
		}
		out.Limits = append(out.Limits, l)
	}
	out.Limits = append(out.Limits, &bowrollv1.WindLimit{UnitCount: 6, LeastHeadwindMps: &bowrollv1.Limit{State: bowrollv1.LimitState_LIMIT_STATE_NONE}})
	return out
}

func rows() ([]*bowrollv1.WindTableRow, *bowrollv1.WindTableSummary) {
	var list []*bowrollv1.WindTableRow
	ceiling := 23.0
	for _, spot := range []string{"s4", "s6"} {
		for _, units := range []int32{0, 2, 4} {
			for _, temperature := range []float64{0, 20, 40} {
				for mass := 4400.0; mass <= 5900; mass += 300 {
					least := 14 + (mass-4400)/140 - 5*float64(units) + temperature/12
					r := &bowrollv1.WindTableRow{
						AircraftType: "aircraftTypes/example", Flap: "takeoff", Spot: spot, AvailableM: 152, UnitCount: units, WindCeilingMps: &ceiling,
						TemperatureC: temperature, GrossMassKg: mass, State: bowrollv1.LimitState_LIMIT_STATE_FOUND, LeastHeadwindMps: &least,
					}
					if least > 24 {
						r.State, r.LeastHeadwindMps, r.Reason = bowrollv1.LimitState_LIMIT_STATE_NONE, nil, "No headwind does."
					}
					if least < -8 {
						r.State, r.LeastHeadwindMps = bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE, nil
					}
					list = append(list, r)
				}
			}
		}
	}
	return list, &bowrollv1.WindTableSummary{}
}

// pictures are every picture by name. With CHART_DIR set they are left there to
// be looked at.
func pictures() map[string]func(io.Writer, chart.Style) error {
	table, summary := rows()
	return map[string]func(io.Writer, chart.Style) error{
		"fan":   func(w io.Writer, s chart.Style) error { return chart.Envelope(w, s, answer(false)) },
		"round": func(w io.Writer, s chart.Style) error { return chart.Envelope(w, s, answer(true)) },
		"nothing": func(w io.Writer, s chart.Style) error {
			return chart.Envelope(w, s, &bowrollv1.WindLimitsComputeResponse{})
		},
		"table": func(w io.Writer, s chart.Style) error { return chart.Table(w, s, table, summary) },
		"empty": func(w io.Writer, s chart.Style) error { return chart.Table(w, s, nil, summary) },
	}
}

func keep(t *testing.T, name string, picture []byte) {
	t.Helper()
	if folder := os.Getenv("CHART_DIR"); folder != "" {
		if err := os.WriteFile(filepath.Join(folder, name), picture, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// Every picture is a whole SVG that says its units, its caution and that it only
// advises, and the same bytes each time.
func TestPicturesAsSVG(t *testing.T) {
	for name, draw := range pictures() {
		for _, units := range []quantity.System{quantity.Trade, quantity.SI} {
			var first, again bytes.Buffer
			style := chart.Style{Format: chart.SVG, Units: units, About: "example <spot> & co."}
			if err := errors.Join(draw(&first, style), draw(&again, style)); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if !bytes.Equal(first.Bytes(), again.Bytes()) {
				t.Errorf("%s is other bytes the second time", name)
			}
			keep(t, name+".svg", first.Bytes())
			text := words(t, name, first.Bytes())
			want := []string{"Advice only", map[quantity.System]string{quantity.Trade: "kt", quantity.SI: "m/s"}[units], "example <spot> & co."}
			if name == "fan" {
				want = append(want, "WARNING: ", "no units", "2 units", "6 units: no wind does")
			}
			for _, w := range want {
				if !strings.Contains(text, w) {
					t.Errorf("%s does not say %q: %s", name, w, text)
				}
			}
			if strings.Contains(first.String(), "NaN") || strings.Contains(first.String(), "Inf") {
				t.Errorf("%s holds a number that is none", name)
			}
		}
	}
}

// words reads an SVG to its end and returns what it says.
func words(t *testing.T, name string, picture []byte) string {
	t.Helper()
	decoder := xml.NewDecoder(bytes.NewReader(picture))
	var text strings.Builder
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return text.String()
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if data, ok := token.(xml.CharData); ok {
			text.Write(data)
			text.WriteByte(' ')
		}
	}
}

// A PNG is as wide as asked, in greys alone, with ink on it.
func TestPicturesAsPNG(t *testing.T) {
	for name, draw := range pictures() {
		for _, wide := range []int{400, 1200} {
			var out bytes.Buffer
			if err := draw(&out, chart.Style{Format: chart.PNG, WidthPX: wide}); err != nil {
				t.Fatal(err)
			}
			keep(t, name+map[int]string{400: "-400.png", 1200: "-1200.png"}[wide], out.Bytes())
			image, err := png.Decode(&out)
			if err != nil {
				t.Fatal(err)
			}
			if got := image.Bounds().Dx(); math.Abs(float64(got-wide)) > 1 {
				t.Errorf("%s is %d pixels wide, asked for %d", name, got, wide)
			}
			inked := 0
			for y := 0; y < image.Bounds().Dy(); y += 3 {
				for x := 0; x < image.Bounds().Dx(); x += 3 {
					r, g, b, _ := image.At(x, y).RGBA()
					if r != g || g != b {
						t.Fatalf("%s: a colour at %d, %d", name, x, y)
					}
					if r < 0x4000 {
						inked++
					}
				}
			}
			if inked < 100 {
				t.Errorf("%s has hardly any ink", name)
			}
		}
	}
}

func TestFormatOf(t *testing.T) {
	for file, want := range map[string]chart.Format{"a.svg": chart.SVG, "b/c.PNG": chart.PNG, "a.jpg": 0, "svg": 0} {
		if got, err := chart.FormatOf(file); got != want || (err == nil) != (want != 0) {
			t.Errorf("%s: %v, %v", file, got, err)
		}
	}
}

func TestTooManyPanelsAreRefused(t *testing.T) {
	list, summary := rows()
	for i := range list {
		list[i].Flap = string(rune('a' + i%14))
	}
	if err := chart.Table(io.Discard, chart.Style{Format: chart.SVG}, list, summary); err == nil {
		t.Error("a picture of 28 panels is drawn")
	}
}
