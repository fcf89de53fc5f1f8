package main

import (
	"fmt"
	"io"
	"reflect"
	"strings"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type courseCommand struct {
	File          string   `arg:"" optional:"" help:"Course file or cycle file (YAML); - reads it from standard input. Flags take the place of what it says."`
	PresentCourse string   `path:"present_course" help:"Course that changes are counted from, e.g. \"090 deg\"." placeholder:"ANGLE"`
	Deck          string   `path:"deck" help:"Deck, e.g. sites/varrow/decks/main." placeholder:"DECK"`
	AxisOffset    string   `path:"axis_offset" help:"Launch axis from the ship's head, positive to starboard, in place of the deck's." placeholder:"ANGLE"`
	LeastSpeed    string   `path:"least_speed" help:"Least speed wanted; the ship's otherwise." placeholder:"QUANTITY" group:"Ship"`
	GreatestSpeed string   `path:"greatest_speed" help:"Greatest speed; the ship's otherwise." placeholder:"QUANTITY" group:"Ship"`
	Steerage      string   `path:"steerage_speed" help:"Least speed at which she steers." placeholder:"QUANTITY" group:"Ship"`
	TurnRate      string   `path:"turn_rate" help:"Rate of turn, e.g. \"48 deg/min\"." placeholder:"QUANTITY" group:"Ship"`
	Launch        string   `path:"launch" help:"How long the launch takes on its course, e.g. \"20 min\"." placeholder:"QUANTITY" group:"Ship"`
	Closed        []string `help:"Courses that are closed, clockwise, \"150 deg to 200 deg\"; may be given again." sep:"none" placeholder:"SECTOR" group:"Ship"`
	WindFrom      string   `path:"natural_wind.from" help:"Direction the natural wind comes from." placeholder:"ANGLE" group:"Wind"`
	WindSpeed     string   `path:"natural_wind.speed" help:"Its mean speed." placeholder:"QUANTITY" group:"Wind"`
	Lull          string   `path:"natural_wind.lull" help:"Its lull, where known." placeholder:"QUANTITY" group:"Wind"`
	Gust          string   `path:"natural_wind.gust" help:"Its gust, where known." placeholder:"QUANTITY" group:"Wind"`
	Spread        string   `path:"natural_wind.direction_spread" help:"Half width of the spread of its direction." placeholder:"ANGLE" group:"Wind"`
	LeastHeadwind string   `path:"least_headwind" help:"Least credited headwind of the load." placeholder:"QUANTITY" group:"Load"`
	Crosswind     string   `path:"crosswind_limit" help:"Greatest crosswind of the load." placeholder:"QUANTITY" group:"Load"`
	Tailwind      string   `path:"tailwind_limit" help:"Greatest tailwind of the load." placeholder:"QUANTITY" group:"Load"`
	Ceiling       string   `path:"wind_ceiling" help:"Greatest wind over deck." placeholder:"QUANTITY" group:"Load"`
}

func (*courseCommand) Help() string {
	return `Finds every course and speed that make a wind in which all loads may go, and the one
that needs the least change of course. A course file holds loads, by their limits or
as cases; a cycle file is planned first, and each of its launches is a load. Examples:

  bowroll course testdata/cycles/dawn.yaml --present-course "090 deg"

  bowroll course --deck sites/varrow/decks/main --present-course "090 deg" \
    --wind-from "292 deg" --wind-speed "10 kt" --lull "7 kt" --gust "13 kt" \
    --least-headwind "24 kt" --closed "150 deg to 200 deg" --launch "20 min"

Exit status 1: no course is open.`
}

// flagLoad is what the load of flags is called.
const flagLoad = "load"

// limits are the fields that state the load.
func (c *courseCommand) limits() bool {
	return c.LeastHeadwind+c.Crosswind+c.Tailwind+c.Ceiling != ""
}

// document is the request as written. within is the field of the request that
// the file stands for: empty, or the cycle.
func (c *courseCommand) document(p *program) (document *cycle.Document, cycles *bowrollv1.Cycle, index *cycle.Index, err error) {
	document = cycle.New(commandLineName)
	if c.File != "" {
		source, err := p.read(c.File)
		if err != nil {
			return nil, nil, nil, err
		}
		file, err := cycle.Parse(c.File, source)
		if err != nil {
			return nil, nil, nil, err
		}
		if file.Has("sorties") {
			cycles = &bowrollv1.Cycle{}
			if index, err = file.Decode(cycles); err != nil {
				return nil, nil, nil, err
			}
		} else {
			document = file
		}
	}
	values, flags := reflect.ValueOf(c).Elem(), reflect.TypeFor[courseCommand]()
	for i := range flags.NumField() {
		field := flags.Field(i)
		path, value := field.Tag.Get("path"), ""
		if path != "" {
			value = values.Field(i).String()
		}
		if value == "" {
			continue
		}
		if field.Tag.Get("group") == "Load" {
			path = "loads[0].limits." + path
		}
		document.Set(path, value, flagName(field.Name))
	}
	if c.limits() && !document.HasPath("loads[0].id") {
		document.Set("loads[0].id", flagLoad, "--least-headwind")
	}
	return document, cycles, index, nil
}

func (c *courseCommand) Run(p *program) error {
	document, cycles, cycleIndex, err := c.document(p)
	if err != nil {
		return err
	}
	request := &bowrollv1.WindLimitsFindCourseRequest{}
	index, err := document.Decode(request)
	if err != nil {
		return err
	}
	request.Cycle = cycles
	within := ""
	if cycles != nil {
		index, within = cycleIndex, "cycle."
	}
	for _, sector := range c.Closed {
		from, to, err := sectorOf(sector)
		if err != nil {
			return err
		}
		request.SeaRoom = append(request.SeaRoom, &bowrollv1.SeaRoomSector{FromDeg: &from, ToDeg: &to})
	}
	found, err := ask(p, "finding the course",
		func(to *client.Client) (*bowrollv1.WindLimitsFindCourseResponse, error) {
			return to.WindLimits.FindCourse(p.ctx, request)
		},
		func(w io.Writer, style sheet.Style, found *bowrollv1.WindLimitsFindCourseResponse) error {
			return sheet.Course(w, style, courseAbout(request), found)
		})
	switch {
	case err != nil:
		return refused{err, index, within}
	case found.GetRecommended() == nil:
		return errNothing
	}
	return nil
}

// courseAbout says in a few words what a course is for.
func courseAbout(r *bowrollv1.WindLimitsFindCourseRequest) string {
	if c := r.GetCycle(); c != nil {
		if c.GetDisplayName() != "" {
			return c.GetDisplayName()
		}
		return "cycle " + c.GetId()
	}
	return count(len(r.GetLoads()), "load")
}

// sectorOf reads "150 deg to 200 deg".
func sectorOf(written string) (fromDeg, toDeg float64, err error) {
	from, to, ok := strings.Cut(written, " to ")
	fault := cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--closed"}, Value: written,
		Problem: "is not read as a sector", Allowed: "two courses, clockwise", Hint: `e.g. --closed "150 deg to 200 deg"`}}
	if !ok {
		return 0, 0, fault
	}
	if fromDeg, err = angle(from); err != nil {
		return 0, 0, fault
	}
	if toDeg, err = angle(to); err != nil {
		return 0, 0, fault
	}
	if fromDeg < 0 || fromDeg > 360 || toDeg < 0 || toDeg > 360 {
		return 0, 0, fmt.Errorf("%w", fault)
	}
	return fromDeg, toDeg, nil
}
