package sweep

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Numbers of a row's results, by their places in [Row.Numbers].
const (
	AvailableM = iota
	DensityKgM3
	CreditedHeadwindMps
	CrosswindMps
	CommandS
	LiftoffTimeS
	RollM
	RunM
	RequiredRunM
	MarginM
	LiftoffGroundSpeedMps
	LiftoffAirspeedMps
	TakeoffDistanceM
	GradientWithBoosters
	GradientWithoutBoosters
	NumberCount
)

// results describes the numbers; the names are those of the table of take-offs.
var results = [NumberCount]struct{ name, unit, text string }{
	AvailableM:              {"available_m", "m", "run available"},
	DensityKgM3:             {"density_kg_m3", "kg/m3", "density of the air"},
	CreditedHeadwindMps:     {"credited_headwind_mps", "m/s", "headwind that the run was computed with"},
	CrosswindMps:            {"crosswind_mps", "m/s", "wind across the axis, positive from starboard"},
	CommandS:                {"command_s", "s", "command after brake release, negative on the brakes; null where unlit or without boosters"},
	LiftoffTimeS:            {"liftoff_time_s", "s", "brake release to lift-off; null where it never lifts off, like the next five"},
	RollM:                   {"roll_m", "m", "distance rolled"},
	RunM:                    {"run_m", "m", "roll and rotation"},
	RequiredRunM:            {"required_run_m", "m", "run times the policy's factor"},
	MarginM:                 {"margin_m", "m", "run available less required run"},
	LiftoffGroundSpeedMps:   {"liftoff_ground_speed_mps", "m/s", "speed over the deck at lift-off"},
	LiftoffAirspeedMps:      {"liftoff_airspeed_mps", "m/s", "airspeed of lift-off; where it never lifts off, the one that was needed"},
	TakeoffDistanceM:        {"takeoff_distance_m", "m", "run and air distance to the screen; null without one"},
	GradientWithBoosters:    {"gradient_with_boosters", "", "climb gradient while the boosters burn; null without boosters alight"},
	GradientWithoutBoosters: {"gradient_without_boosters", "", "climb gradient on the engines alone"},
}

func numberNames() []string {
	names := make([]string, 0, NumberCount)
	for _, r := range results {
		names = append(names, r.name)
	}
	return names
}

// numberColumn is the place of a number by its name, or -1.
func numberColumn(name string) int { return slices.Index(numberNames(), name) }

// kept are the places of the numbers that a spec keeps, in order. What an axis
// sets is an input, and not kept again.
func kept(s *bowrollv1.SweepSpec) []int {
	var list []int
	for i, r := range results {
		asked := len(s.GetColumns()) == 0 || slices.Contains(s.GetColumns(), r.name)
		input := slices.ContainsFunc(s.GetAxes(), func(a *bowrollv1.SweepAxis) bool { return columnName(a.GetField()) == r.name })
		if asked && !input {
			list = append(list, i)
		}
	}
	return list
}

// columnName is the name of an input's column: air.temperature_c is
// air_temperature_c.
func columnName(field string) string { return strings.ReplaceAll(field, ".", "_") }

// Columns are the columns of the rows of a spec, in order.
func Columns(s *bowrollv1.SweepSpec) []*bowrollv1.SweepColumn {
	known := fieldsOfCase()
	list := []*bowrollv1.SweepColumn{{Name: "index", Kind: "count", Text: "place of the row, from 0"}}
	for _, a := range s.GetAxes() {
		c := &bowrollv1.SweepColumn{Name: columnName(a.GetField()), Kind: "number", Text: "input " + a.GetField()}
		switch known[a.GetField()].leaf().Kind() {
		case protoreflect.Int32Kind:
			c.Kind = "count"
		case protoreflect.DoubleKind:
			c.Unit = unitOf(c.Name)
		default:
			c.Kind = "text"
		}
		list = append(list, c)
	}
	list = append(list,
		&bowrollv1.SweepColumn{Name: "status", Kind: "text", Text: "OK, or INVALID_ARGUMENT where the row was refused; nothing else is known of it then"},
		&bowrollv1.SweepColumn{Name: "outcome", Kind: "text", Text: "the finding that settles whether it goes", Nullable: true},
		&bowrollv1.SweepColumn{Name: "goes", Kind: "flag", Text: "whether it may go: it gets off, with comfort or marginally", Nullable: true})
	for _, i := range kept(s) {
		r := results[i]
		list = append(list, &bowrollv1.SweepColumn{Name: r.name, Kind: "number", Unit: r.unit, Text: r.text, Nullable: true})
	}
	return append(list, &bowrollv1.SweepColumn{Name: "faults", Kind: "text", Text: "why it was refused, every fault in one text; null where it was not", Nullable: true})
}

// unitOf is the unit that a name ends in.
func unitOf(name string) string {
	for _, u := range [][2]string{
		{"_kg_m3", "kg/m3"}, {"_rate_deg_s", "deg/s"}, {"_deg_s", "deg/s"}, {"_per_k", "1/K"}, {"_per_s", "1/s"}, {"_mps2", "m/s2"}, {"_mps", "m/s"}, {"_deg", "deg"},
		{"_kg", "kg"}, {"_pa", "Pa"}, {"_m2", "m2"}, {"_nm", "N m"}, {"_n_m", "N m"}, {"_ns", "N s"}, {"_m_s", "m/s"}, {"_m", "m"}, {"_s", "s"}, {"_c", "degC"},
		{"_n", "N"}, {"_w", "W"}, {"_v", "V"}, {"_ohm", "ohm"}, {"_a", "A"}, {"_j", "J"}, {"_g", "g"},
	} {
		if strings.HasSuffix(name, u[0]) {
			return u[1]
		}
	}
	return ""
}
