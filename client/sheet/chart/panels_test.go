package chart_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"image/png"
	"io"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bowroll/client/sheet/chart"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// trace is a run of ten rows with a burn in its middle.
func trace() *bowrollv1.TakeoffsTraceResponse {
	t := &bowrollv1.TakeoffsTraceResponse{}
	for i := range 10 {
		s := float64(i)
		booster := 0.0
		if i >= 2 && i < 7 {
			booster = 17000
		}
		t.TimeS, t.DistanceM = append(t.TimeS, s), append(t.DistanceM, 1.5*s*s)
		t.AirspeedMps, t.LiftoffAirspeedMps = append(t.AirspeedMps, 14+3*s), append(t.LiftoffAirspeedMps, 41)
		t.EngineThrustN, t.BoosterThrustN = append(t.EngineThrustN, 50000-900*s), append(t.BoosterThrustN, booster)
	}
	return t
}

func off() *bowrollv1.Takeoff {
	return &bowrollv1.Takeoff{
		RequiredRunM: proto.Float64(160), AvailableM: proto.Float64(176),
		Roll:   &bowrollv1.Roll{LiftsOff: true, TimeS: proto.Float64(9), DistanceM: proto.Float64(121.5)},
		Firing: &bowrollv1.FiringUsed{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, LastThrustS: proto.Float64(7), Cue: &bowrollv1.Cue{DistanceM: proto.Float64(6)}},
		Commit: &bowrollv1.CommitPoints{Lit: &bowrollv1.CommitPoint{Exists: true, DistanceM: proto.Float64(40)}},
	}
}

func found() *bowrollv1.TakeoffsFindFiringResponse {
	f := &bowrollv1.TakeoffsFindFiringResponse{
		PlannedFiring: &bowrollv1.PlannedFiring{Percentile: 0.95, NominalBest: &bowrollv1.FiringOption{DelayS: proto.Float64(2.2)}},
		Firing:        &bowrollv1.FiringUsed{DelayS: proto.Float64(2.6)},
	}
	for i := range 12 {
		d := float64(i) - 2.5
		f.Curve = append(f.Curve, &bowrollv1.FiringPoint{DelayS: float64(i), RunM: proto.Float64(150 + 2*d*d), RunP50M: proto.Float64(152 + 2*d*d),
			RunPercentileM: proto.Float64(165 + 3*d*d), RunP99M: proto.Float64(172 + 3.4*d*d), Covered: i < 8})
	}
	return f
}

func queue() *bowrollv1.CyclePlan {
	return &bowrollv1.CyclePlan{Policy: &bowrollv1.Policy{MarginalM: proto.Float64(6)},
		Launches: []*bowrollv1.PlannedLaunch{
			{Sortie: "late-2", Order: 3, Takeoff: &bowrollv1.Takeoff{MarginM: proto.Float64(4)}},
			{Sortie: "early-1", Order: 1, Takeoff: &bowrollv1.Takeoff{MarginM: proto.Float64(41)}},
			{Sortie: "blank-1", Order: 4, Takeoff: &bowrollv1.Takeoff{}}},
		Held: []*bowrollv1.HeldSortie{{Sortie: "stays-1", Order: 2}}}
}

// Each chart names on itself what it shows, in the units asked, is a whole
// document in both forms, and gives the same bytes twice.
func TestPanels(t *testing.T) {
	limits := &bowrollv1.WindLimitsComputeResponse{Limits: []*bowrollv1.WindLimit{
		{UnitCount: 0, LeastHeadwindMps: &bowrollv1.Limit{State: bowrollv1.LimitState_LIMIT_STATE_NONE}},
		{UnitCount: 2, LeastHeadwindMps: &bowrollv1.Limit{State: bowrollv1.LimitState_LIMIT_STATE_FOUND, Value: proto.Float64(10)}},
		{UnitCount: 4, LeastHeadwindMps: &bowrollv1.Limit{State: bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE}}}}
	for name, c := range map[string]struct {
		draw func(io.Writer, chart.Style) error
		says []string
	}{
		"run": {func(w io.Writer, s chart.Style) error { return chart.Run(w, s, trace(), off()) },
			[]string{"firing 20", "commit 131", "burnt out 241", "lift-off 399", "required 525", "deck end 577", "boosters", "engines", "airspeed, kt", "thrust, lbf", "distance from the spot, ft"}},
		"firing": {func(w io.Writer, s chart.Style) error { return chart.Firing(w, s, found(), proto.Float64(176)) },
			[]string{"planned 2.6 s", "nominal best 2.2 s", "P99", "P95", "P50", "run available", "no way out"}},
		"wind against units": {func(w io.Writer, s chart.Style) error { return chart.WindAgainstUnits(w, s, limits) },
			[]string{"in no wind", "19.5", "any wind", "units fitted"}},
		"margins": {func(w io.Writer, s chart.Style) error { return chart.Margins(w, s, queue()) },
			[]string{"early-1", "135 ft", "held", "not known", "marginal below 20 ft"}},
	} {
		t.Run(name, func(t *testing.T) {
			var svg, again, picture bytes.Buffer
			style := chart.Style{Format: chart.SVG, Units: quantity.Trade, About: "a case <&>"}
			if err := c.draw(&svg, style); err != nil {
				t.Fatal(err)
			}
			if err := c.draw(&again, style); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(svg.Bytes(), again.Bytes()) {
				t.Error("the same chart gives other bytes")
			}
			text := texts(t, svg.Bytes())
			for _, want := range append(c.says, "Advice only") {
				if !strings.Contains(text, want) {
					t.Errorf("the chart lacks %q: %s", want, text)
				}
			}
			style.Format, style.WidthPX = chart.PNG, 400
			if err := c.draw(&picture, style); err != nil {
				t.Fatal(err)
			}
			drawn, err := png.Decode(&picture)
			if err != nil {
				t.Fatal(err)
			}
			if wide := drawn.Bounds().Dx(); wide != 400 {
				t.Errorf("the picture is %d pixels wide, want 400", wide)
			}
			if coloured(drawn) {
				t.Error("the picture has colour")
			}
		})
	}
}

// texts returns the words of an SVG document, which must be well formed.
func texts(t *testing.T, svg []byte) string {
	t.Helper()
	var words []string
	for read := xml.NewDecoder(bytes.NewReader(svg)); ; {
		token, err := read.Token()
		if errors.Is(err, io.EOF) {
			return strings.Join(words, " | ")
		}
		if err != nil {
			t.Fatal(err)
		}
		if data, ok := token.(xml.CharData); ok {
			words = append(words, strings.TrimSpace(string(data)))
		}
	}
}

func coloured(picture image.Image) bool {
	for y := range picture.Bounds().Dy() {
		for x := range picture.Bounds().Dx() {
			if r, g, b, _ := picture.At(x, y).RGBA(); r != g || g != b {
				return true
			}
		}
	}
	return false
}

// What holds nothing to draw is refused with what is missing, never drawn empty.
func TestPanelsRefuseNothing(t *testing.T) {
	style := chart.Style{Format: chart.SVG}
	for name, err := range map[string]error{
		"run":                chart.Run(io.Discard, style, &bowrollv1.TakeoffsTraceResponse{}, off()),
		"firing":             chart.Firing(io.Discard, style, &bowrollv1.TakeoffsFindFiringResponse{}, nil),
		"wind against units": chart.WindAgainstUnits(io.Discard, style, &bowrollv1.WindLimitsComputeResponse{}),
		"margins":            chart.Margins(io.Discard, style, &bowrollv1.CyclePlan{}),
	} {
		if err == nil || !strings.Contains(err.Error(), "needs") {
			t.Errorf("%s: %v does not say what is needed", name, err)
		}
	}
}

// Two pictures stand in one page without sharing an id, and what names a picture
// is in it.
func TestPicturesShareNoID(t *testing.T) {
	id := regexp.MustCompile(` id="([^"]+)"`)
	seen := map[string]bool{}
	for _, about := range []string{"spot s3", "spot s4"} {
		var svg bytes.Buffer
		if err := chart.Margins(&svg, chart.Style{Format: chart.SVG, About: about}, queue()); err != nil {
			t.Fatal(err)
		}
		found := id.FindAllStringSubmatch(svg.String(), -1)
		if len(found) != 2 || !strings.Contains(svg.String(), `aria-labelledby="`+found[0][1]+" "+found[1][1]+`"`) {
			t.Errorf("%s: ids %v", about, found)
		}
		for _, one := range found {
			if seen[one[1]] {
				t.Errorf("two pictures have the id %s", one[1])
			}
			seen[one[1]] = true
		}
	}
}

// Without units there is nothing to light: the stop drawn is that of the commit
// point.
func TestRunWithoutUnitsNamesItsStop(t *testing.T) {
	bare := off()
	bare.Firing, bare.Commit.Lit.StopDistanceM = nil, proto.Float64(100)
	var svg bytes.Buffer
	if err := chart.Run(&svg, chart.Style{Format: chart.SVG, Units: quantity.Trade}, trace(), bare); err != nil {
		t.Fatal(err)
	}
	if text := texts(t, svg.Bytes()); !strings.Contains(text, "last stop: at rest 459") || strings.Contains(text, "none lit") {
		t.Errorf("the chart says %s", text)
	}
}
