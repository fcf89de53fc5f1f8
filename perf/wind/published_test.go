package wind_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"bowroll/perf/quantity"
	"bowroll/perf/wind"
)

const knot = 1852.0 / 3600

// A manoeuvre is one row of published values about the wind triangle.
type manoeuvre struct {
	id, method, unit    string
	expected, tolerance float64
	decides             bool // read or computed, and with a tolerance
	in                  map[string]float64
}

// manoeuvres reads the rows of testdata/published/checks.csv about the wind
// triangle; each names its source there.
func manoeuvres(t *testing.T) []manoeuvre {
	t.Helper()
	file, err := os.Open("../../testdata/published/checks.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	var all []manoeuvre
	for _, row := range rows[1:] {
		m := manoeuvre{
			id: row[column["id"]], method: row[column["method"]], unit: row[column["unit"]],
			decides: row[column["tolerance"]] != "" && row[column["obtained"]] != "memory",
			in:      map[string]float64{},
		}
		if !strings.HasPrefix(m.method, "natural-") && !strings.HasPrefix(m.method, "over-deck-") {
			continue
		}
		for _, pair := range strings.Split(row[column["inputs"]], ";") {
			name, value, _ := strings.Cut(pair, "=")
			name = strings.TrimSpace(name)
			dimension := quantity.Angle
			if strings.HasSuffix(name, "_speed") {
				dimension = quantity.Speed
			}
			if m.in[name], err = quantity.Parse(dimension, value); err != nil {
				t.Fatalf("%s: %v", m.id, err)
			}
		}
		m.expected = number(t, row[column["expected"]])
		if m.decides {
			m.tolerance = number(t, row[column["tolerance"]])
		}
		all = append(all, m)
	}
	return all
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func (m manoeuvre) ship() wind.Ship {
	return wind.Ship{CourseDeg: m.in["course"], SpeedMPS: m.in["ship_speed"]}
}

func TestPublishedManoeuvres(t *testing.T) {
	decided := 0
	for _, m := range manoeuvres(t) {
		natural := m.ship().Natural(wind.Vector{FromDeg: m.in["felt_from"], SpeedMPS: m.in["felt_speed"]})
		felt := m.ship().OverDeck(wind.Vector{FromDeg: m.in["natural_from"], SpeedMPS: m.in["natural_speed"]})
		got, known := map[string]float64{
			"natural-from":        natural.FromDeg,
			"natural-speed":       natural.SpeedMPS / knot,
			"over-deck-speed":     felt.SpeedMPS / knot,
			"over-deck-from":      felt.RelativeFromDeg,
			"over-deck-headwind":  felt.HeadwindMPS / knot,
			"over-deck-crosswind": felt.CrosswindMPS / knot,
		}[m.method]
		if !known {
			t.Errorf("%s: method %s", m.id, m.method)
		}
		if !m.decides {
			t.Logf("%s: %.3f %s, %v from memory", m.id, got, m.unit, m.expected)
			continue
		}
		decided++
		if math.Abs(got-m.expected) > m.tolerance {
			t.Errorf("%s = %.4f, want %v within %v", m.id, got, m.expected, m.tolerance)
		}
	}
	if decided < 8 {
		t.Errorf("%d rows decide, want the 8 there were at least", decided)
	}
}

// Course 015, 17 kt, 15 kt felt 40 degrees off the starboard bow: 11 kt of
// natural wind. Deck officers' review question with its worked answer,
// oic-nwreviewer.blogspot.com, "How to solve true wind speed" (2013), read.
func TestPublishedReviewQuestion(t *testing.T) {
	ship := wind.Ship{CourseDeg: 15, SpeedMPS: 17 * knot}
	natural := ship.Natural(wind.Vector{FromDeg: 40, SpeedMPS: 15 * knot})
	if got := natural.SpeedMPS / knot; math.Abs(got-11) > 0.3 {
		t.Errorf("%v kt, want 11", got)
	}
}

// Every published manoeuvre turned round: the wind felt gives the natural wind,
// which gives the wind felt, to 1e-9.
func TestPublishedManoeuvresInverted(t *testing.T) {
	for _, m := range manoeuvres(t) {
		ship := m.ship()
		if felt, ok := m.in["felt_speed"]; ok {
			back := ship.OverDeck(ship.Natural(wind.Vector{FromDeg: m.in["felt_from"], SpeedMPS: felt}))
			if math.Abs(back.SpeedMPS-felt) > 1e-9 || math.Abs(back.RelativeFromDeg-m.in["felt_from"]) > 1e-9 {
				t.Errorf("%s: felt %+v", m.id, back)
			}
			continue
		}
		felt := ship.OverDeck(wind.Vector{FromDeg: m.in["natural_from"], SpeedMPS: m.in["natural_speed"]})
		back := ship.Natural(wind.Vector{FromDeg: felt.RelativeFromDeg, SpeedMPS: felt.SpeedMPS})
		if math.Abs(back.SpeedMPS-m.in["natural_speed"]) > 1e-9 || math.Abs(back.FromDeg-m.in["natural_from"]) > 1e-9 {
			t.Errorf("%s: natural %+v", m.id, back)
		}
	}
}

// plannerCase reads one case of testdata/vectors/planner_cases.json.
func plannerCase(t *testing.T, id string) (given, expected map[string]any) {
	t.Helper()
	text, err := os.ReadFile("../../testdata/vectors/planner_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID              string
			Given, Expected map[string]any
		}
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	for _, c := range file.Cases {
		if c.ID == id {
			return c.Given, c.Expected
		}
	}
	t.Fatalf("no case %s", id)
	return nil, nil
}

// feltIn gives the wind over deck of a planner case, in knots.
func feltIn(given map[string]any) (ship wind.Ship, natural wind.Vector, felt wind.OverDeck) {
	ship = wind.Ship{CourseDeg: given["course"].(float64), SpeedMPS: given["ship_kt"].(float64) * knot}
	natural = wind.Vector{FromDeg: given["tw_from"].(float64), SpeedMPS: given["tw_kt"].(float64) * knot}
	felt = ship.OverDeck(natural)
	felt.SpeedMPS /= knot
	felt.HeadwindMPS /= knot
	felt.CrosswindMPS /= knot
	return ship, natural, felt
}

func wantWithin(t *testing.T, what string, got float64, want any, tolerance float64) {
	t.Helper()
	if math.Abs(got-want.(float64)) > tolerance {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

func TestPlannerCaseWindFromAstern(t *testing.T) {
	given, expected := plannerCase(t, "D28")
	ship, natural, felt := feltIn(given)
	wantWithin(t, "headwind", felt.HeadwindMPS, expected["head_kt"], 0.01)
	wantWithin(t, "crosswind", felt.CrosswindMPS, expected["cross_kt"], 0.01)
	used := wind.Steady(natural.FromDeg, natural.SpeedMPS).Use(ship, wind.FullCredit())
	if math.Abs(used.TailwindMPS-8*knot) > 0.01*knot {
		t.Errorf("8 kt from astern read as %+v", used)
	}
}

// The case asks for the course change that brings the crosswind within 5 kt: the
// wind at asin(5/20) off the bow.
func TestPlannerCaseCrosswindOnly(t *testing.T) {
	given, expected := plannerCase(t, "D29")
	ship, natural, felt := feltIn(given)
	wantWithin(t, "speed", felt.SpeedMPS, expected["relative_kt"], 0.01)
	wantWithin(t, "direction", felt.RelativeFromDeg, expected["relative_deg_starboard"], 0.01)
	wantWithin(t, "headwind", felt.HeadwindMPS, expected["head_kt"], 0.01)
	wantWithin(t, "crosswind", felt.CrosswindMPS, expected["cross_kt"], 0.01)

	limit, headwind := 5*knot, 10*knot
	answer, err := wind.FindCourse(wind.CourseQuery{
		Wind: wind.Natural{Mean: natural}, Credit: wind.FullCredit(),
		Ship: wind.ShipRange{LeastMPS: ship.SpeedMPS, GreatestMPS: ship.SpeedMPS}, PresentCourseDeg: ship.CourseDeg,
		Loads: []wind.Load{{Name: "sortie", Limits: wind.Limits{GreatestCrosswindMPS: &limit, LeastHeadwindMPS: &headwind}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	want := 90 - math.Asin(5.0/20)*180/math.Pi
	if r := answer.Recommended; math.Abs(r.ChangeDeg-want) > 1e-5 || answer.Open[0].WidthDeg > 2*(90-want)+1e-5 {
		t.Errorf("change of %v, want %v", r.ChangeDeg, want)
	}
}

// The run itself, 73.6, 117.5 and 211.4 m, is the take-off's to check.
func TestPlannerCaseCreditOnTheNaturalWindOnly(t *testing.T) {
	given, expected := plannerCase(t, "D32")
	ship := wind.Ship{SpeedMPS: given["ship_kt"].(float64) * knot}
	half := wind.Credit{HeadwindPart: 0.5, TailwindFactor: 1.5}
	used := wind.Steady(0, given["natural_head_kt"].(float64)*knot).Use(ship, half)
	wantWithin(t, "nominal", used.HeadwindMPS/knot, expected["nominal_wod_kt"], 1e-9)
	wantWithin(t, "credited", used.CreditedHeadwindMPS/knot, expected["factored_wod_kt"], 1e-9)
	if math.Abs(used.CreditedHeadwindMPS/knot-expected["wrongly_factored_wod_kt"].(float64)) < 1 {
		t.Error("the ship's own speed was factored")
	}
}
