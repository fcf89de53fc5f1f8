package sheet_test

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A table says which cells need more than the deck allows and which no wind does
// for, and why, once for all cells alike.
func TestWindTable(t *testing.T) {
	least, over := 11.0, 25.0
	rows := []*bowrollv1.WindTableRow{
		{AircraftType: "aircraftTypes/corvane", Flap: "up", Spot: "s1", AvailableM: 62, GrossMassKg: 5000, State: bowrollv1.LimitState_LIMIT_STATE_FOUND, LeastHeadwindMps: &least},
		{AircraftType: "aircraftTypes/corvane", Flap: "up", Spot: "s1", AvailableM: 62, GrossMassKg: 5500, State: bowrollv1.LimitState_LIMIT_STATE_FOUND, LeastHeadwindMps: &over, OverCeiling: true},
		{AircraftType: "aircraftTypes/corvane", Flap: "up", Spot: "s1", AvailableM: 62, GrossMassKg: 6000, State: bowrollv1.LimitState_LIMIT_STATE_NONE, Reason: "No headwind does."},
		{AircraftType: "aircraftTypes/corvane", Flap: "up", Spot: "s1", AvailableM: 62, GrossMassKg: 6500, State: bowrollv1.LimitState_LIMIT_STATE_NONE, Reason: "No headwind does."},
		{AircraftType: "aircraftTypes/corvane", Flap: "up", Spot: "s1", AvailableM: 62, GrossMassKg: 4500, State: bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE},
	}
	var got bytes.Buffer
	if err := sheet.WindTable(&got, sheet.Style{Width: 80, Units: quantity.SI}, "main deck", rows, &bowrollv1.WindTableSummary{BetweenCells: "Take the worst."}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"CORVANE, flap up, spot s1", "5,000     11.0", "5,500    25.0+", "6,000       -a", "6,500       -a", "4,500      any", "a  No headwind does.", "Take the worst."} {
		if !strings.Contains(got.String(), want) {
			t.Errorf("the sheet does not say %q:\n%s", want, got.String())
		}
	}
	narrow(t, got.String())
}

// What is missing from an answer about courses is drawn as a dash or left out.
func TestCourseSheets(t *testing.T) {
	speed := 12.0
	for name, answer := range map[string]*bowrollv1.WindLimitsFindCourseResponse{
		"empty":  {},
		"option": {Recommended: &bowrollv1.CourseOption{CourseDeg: 359.8, SpeedMps: 9}, Loads: []*bowrollv1.CourseLoadUsed{{Id: "a"}}, Trades: []*bowrollv1.SpeedTrade{{HeldToMps: 3}}},
		"held": {Text: "Held: two sensors differ.", WindReading: &bowrollv1.WindReading{Hold: bowrollv1.WindHold_WIND_HOLD_SENSORS_DISAGREE,
			Sensors: []*bowrollv1.SensorReading{{Anemometer: "mast", Note: "masked from 60 to 130 degrees"}}}},
		"short": {PresentCourseNeedsMps: &speed, Shortfall: &bowrollv1.CourseShortfall{Best: &bowrollv1.CourseOption{CourseDeg: 10},
			Missed: []*bowrollv1.WindMargin{{Limit: "headwind", Load: "a", MarginMps: -2}}, OpenWithout: []string{"a", "b"}}},
	} {
		var got bytes.Buffer
		if err := sheet.Course(&got, sheet.Style{Width: 80, Units: quantity.Trade}, "", answer); err != nil {
			t.Fatal(err)
		}
		want := map[string]string{
			"empty": "LAUNCH COURSE", "option": "Steer 000 deg at 17.5 kt: no change of course.", "held": "masked from 60 to 130 degrees",
			"short": "3.9 kt short of the headwind of a",
		}[name]
		if !strings.Contains(strings.ReplaceAll(got.String(), "\n", " "), want) {
			t.Errorf("%s does not say %q:\n%s", name, want, got.String())
		}
		narrow(t, got.String())
	}
}

func narrow(t *testing.T, text string) {
	t.Helper()
	for line := range strings.SplitSeq(text, "\n") {
		if utf8.RuneCountInString(line) > 80 {
			t.Errorf("a line is wider than 80: %q", line)
		}
	}
}
