package main

import (
	"fmt"
	"reflect"
	"strings"

	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// commandLineName is what a document of flags alone is called in faults.
const commandLineName = "command line"

// caseFlags describe a take-off case. Each flag sets the key of a case file that
// stands in its path tag, so that a value is read alike from both.
type caseFlags struct {
	Case             string            `help:"Case file (YAML); - reads it from standard input. Flags take the place of what it says." placeholder:"FILE" group:"Case"`
	AircraftType     string            `path:"aircraft_type" help:"Aircraft type of the catalog, e.g. corvane." placeholder:"TYPE" group:"Case"`
	Flap             string            `path:"flap" help:"Flap setting of the type." placeholder:"NAME" group:"Case"`
	GrossMass        string            `path:"gross_mass" help:"Mass without units, e.g. \"14,200 lb\"." placeholder:"QUANTITY" group:"Case"`
	Deck             string            `path:"deck" help:"Deck, e.g. sites/varrow/decks/main." placeholder:"DECK" group:"Case"`
	Spot             string            `path:"spot" help:"Spot on the deck." placeholder:"SPOT" group:"Case"`
	Available        string            `path:"available" help:"Run available, in place of the spot's, e.g. \"420 ft\"." placeholder:"QUANTITY" group:"Case"`
	Headwind         string            `path:"headwind" help:"Wind over deck along the launch axis, e.g. \"24 kt\"; negative from astern." placeholder:"QUANTITY" group:"Case"`
	Crosswind        string            `path:"crosswind" help:"Wind over deck across it, positive from starboard." placeholder:"QUANTITY" group:"Case"`
	Temperature      string            `path:"air.temperature" help:"Outside air temperature, e.g. \"95 degF\"." placeholder:"QUANTITY" group:"Case"`
	Pressure         string            `path:"air.pressure" help:"Pressure at the deck, e.g. \"29.92 inHg\"." placeholder:"QUANTITY" group:"Case"`
	PressureAltitude string            `path:"air.pressure_altitude" help:"Pressure altitude, in place of the pressure." placeholder:"QUANTITY" group:"Case"`
	Humidity         string            `path:"air.relative_humidity" help:"Relative humidity, e.g. 84%; dry air otherwise." placeholder:"RATIO" group:"Case"`
	Boosters         string            `path:"boosters.count" help:"Units fitted." placeholder:"N" group:"Units"`
	BoosterType      string            `path:"boosters.booster_type" help:"Booster type of the catalog, e.g. emberlin-6." placeholder:"TYPE" group:"Units"`
	GrainTemperature string            `path:"boosters.grain_temperature" help:"Grain temperature, e.g. \"68 degF\"." placeholder:"QUANTITY" group:"Units"`
	Firing           string            `path:"boosters.firing.mode" help:"When the units are fired: best, planned (on the policy's percentile), on-brakes, rolling (with --delay) or unlit." placeholder:"WHEN" group:"Units"`
	Delay            string            `path:"boosters.firing.delay" help:"Command after brake release, for rolling, e.g. \"2 s\"." placeholder:"QUANTITY" group:"Units"`
	Duds             string            `path:"boosters.duds" help:"Units of them that do not fire." placeholder:"N" group:"Units"`
	Set              map[string]string `help:"Any other key of a case file, e.g. --set policy.run_factor=1.2." placeholder:"KEY=VALUE" group:"Case"`
}

// casePaths maps the key of a case file to the flag that sets it.
func casePaths() map[string]string {
	paths := map[string]string{}
	flags := reflect.TypeFor[caseFlags]()
	for i := range flags.NumField() {
		if path := flags.Field(i).Tag.Get("path"); path != "" {
			paths[path] = flagName(flags.Field(i).Name)
		}
	}
	return paths
}

// flagName is the flag of a field: GrossMass is --gross-mass.
func flagName(field string) string {
	var b strings.Builder
	for i, r := range field {
		if i > 0 && r >= 'A' && r <= 'Z' {
			b.WriteByte('-')
		}
		b.WriteRune(r)
	}
	return "--" + strings.ToLower(b.String())
}

// document is the case as written: the file, if there is one, with the flags in
// their places.
func (f *caseFlags) document(p *program) (*cycle.Document, error) {
	document := cycle.New(commandLineName)
	if f.Case != "" {
		source, err := p.read(f.Case)
		if err != nil {
			return nil, err
		}
		if document, err = cycle.Parse(f.Case, source); err != nil {
			return nil, err
		}
	}
	if f.Headwind != "" {
		document.Clear("natural_wind")
		document.Clear("deck_wind")
		document.Clear("ship")
	}
	values, flags := reflect.ValueOf(f).Elem(), reflect.TypeFor[caseFlags]()
	for i := range flags.NumField() {
		field := flags.Field(i)
		if path := field.Tag.Get("path"); path != "" && values.Field(i).String() != "" {
			document.Set(path, values.Field(i).String(), flagName(field.Name))
		}
	}
	for _, path := range sortedKeys(f.Set) {
		document.Set(path, f.Set[path], "--set "+path)
	}
	return document, nil
}

// decode reads the case.
func decode(document *cycle.Document) (*bowrollv1.TakeoffCase, *cycle.Index, error) {
	asked := &bowrollv1.TakeoffCase{}
	index, err := document.Decode(asked)
	if err != nil {
		return nil, nil, err
	}
	return asked, index, nil
}

// about says in a few words what a case is.
func about(asked *bowrollv1.TakeoffCase) string {
	kind := asked.GetAircraftType()
	if kind == "" {
		kind = asked.GetAircraft().GetDisplayName()
	}
	parts := []string{kind[strings.LastIndexByte(kind, '/')+1:]}
	if b := asked.GetBoosters(); b != nil {
		name := b.GetBoosterType()
		if name == "" {
			name = b.GetType().GetDisplayName()
		}
		parts = append(parts, fmt.Sprintf("%s %s", count(int(b.GetCount()), "unit"), name[strings.LastIndexByte(name, '/')+1:]))
	}
	if asked.GetSpot() != "" {
		parts = append(parts, "spot "+asked.GetSpot())
	}
	return strings.Join(parts, ", ")
}
