package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type compareCommand struct {
	File   string   `arg:"" help:"Cycle file (YAML); - reads it from standard input."`
	Vary   []string `help:"A variant: NAME: KEY=VALUE; KEY=VALUE. Keys are those of the file under natural_wind, air, ship, crews and policy, greatest_speed, reserve_count and lots.ID." placeholder:"VARIANT" sep:"none"`
	Speeds string   `help:"Plan at speeds of the ship from one to another: what wind over deck buys, e.g. \"6 kt to 24 kt by 3 kt\"." placeholder:"RANGE"`
	Nodes  *int32   `help:"Most steps of the search for who gets the units, in each plan; with fewer a plan may stay unproven." placeholder:"N"`
	Plans  bool     `help:"In JSON, give the whole plan of each variant."`
}

func (*compareCommand) Help() string {
	return `Plans up to 19 variants of a cycle beside the cycle as it is (which is called as-is),
and says what each launches, with how many units, and who is best. Examples:

  bowroll compare testdata/cycles/dawn.yaml --vary "calm: natural_wind.speed=4 kt; natural_wind.lull=2 kt" \
    --vary "short: lots.lot-07=4; crews.team_count=2"
  bowroll compare testdata/cycles/dawn.yaml --speeds "8 kt to 22 kt by 2 kt"`
}

// asIs is the variant that is the cycle as written.
const asIs = "as-is"

func (c *compareCommand) Run(p *program) error {
	if len(c.Vary) == 0 && c.Speeds == "" {
		return badInput{fmt.Errorf("nothing to compare with: give --vary or --speeds; help: bowroll compare --help")}
	}
	source, err := p.read(c.File)
	if err != nil {
		return err
	}
	asked, index, err := cycle.Read(c.File, source)
	if err != nil {
		return err
	}
	request := &bowrollv1.CyclesCompareRequest{Cycle: asked, NodeLimit: c.Nodes, IncludePlans: c.Plans}
	if len(c.Vary) > 0 {
		request.Variants = []*bowrollv1.CycleVariant{{Id: asIs}}
	}
	var faults cycle.Faults
	for _, text := range c.Vary {
		v, found := vary(c.File, source, asked, text)
		request.Variants, faults = append(request.Variants, v), append(faults, found...)
	}
	if c.Speeds != "" {
		sweep, found := speeds(c.Speeds)
		request.SpeedSweep, faults = sweep, append(faults, found...)
	}
	if len(faults) > 0 {
		return faults
	}
	answer, err := ask(p, "planning "+compared(request),
		func(to *client.Client) (*bowrollv1.CyclesCompareResponse, error) {
			ctx, cancel := context.WithTimeout(p.ctx, p.line.Timeout)
			defer cancel()
			return to.Cycles.Compare(ctx, request)
		},
		func(w io.Writer, style sheet.Style, answer *bowrollv1.CyclesCompareResponse) error {
			return sheet.Compare(w, style, asked, answer)
		})
	switch {
	case err != nil:
		return refused{err, index, "cycle."}
	case !slices.ContainsFunc(answer.GetVariants(), func(v *bowrollv1.VariantAnswer) bool { return v.GetLaunchedCount() > 0 }) &&
		!slices.ContainsFunc(answer.GetCurve(), func(v *bowrollv1.SweepPoint) bool { return v.GetLaunchedCount() > 0 }):
		return errNothing
	}
	return nil
}

// compared says in a few words how much a comparison plans.
func compared(r *bowrollv1.CyclesCompareRequest) string {
	var parts []string
	if n := len(r.GetVariants()); n > 0 {
		parts = append(parts, count(n, "variant"))
	}
	if s := r.GetSpeedSweep(); s.GetStepMps() > 0 {
		parts = append(parts, count(1+int((s.GetGreatestMps()-s.GetLeastMps())/s.GetStepMps()+1e-9), "speed"))
	}
	return strings.Join(parts, " and ")
}

// varied are the keys that a variant may have otherwise, or what they begin with.
var varied = []string{"natural_wind.", "air.", "ship.", "crews.", "policy.", "greatest_speed", "reserve_count"}

// vary reads one variant. Its values are read as the file's own are.
func vary(name string, source []byte, asked *bowrollv1.Cycle, text string) (*bowrollv1.CycleVariant, cycle.Faults) {
	fault := func(value, problem, allowed, hint string) cycle.Fault {
		return cycle.Fault{Place: cycle.Place{File: commandLineName, Flag: "--vary"}, Value: value, Problem: problem, Allowed: allowed, Hint: hint}
	}
	id, list, found := strings.Cut(text, ":")
	v := &bowrollv1.CycleVariant{Id: strings.TrimSpace(id)}
	if !found || v.Id == "" {
		return v, cycle.Faults{fault(text, "has no name or no change", "NAME: KEY=VALUE", `e.g. --vary "calm: natural_wind.speed=4 kt"`)}
	}
	document, err := cycle.Parse(name, source)
	if err != nil {
		return v, cycle.Faults{fault(text, err.Error(), "", "")}
	}
	var faults cycle.Faults
	for _, change := range strings.Split(list, ";") {
		key, value, found := strings.Cut(change, "=")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		if !found || value == "" {
			faults = append(faults, fault(strings.TrimSpace(change), "is no change", "KEY=VALUE", ""))
			continue
		}
		if lot, ok := strings.CutPrefix(key, "lots."); ok {
			n, err := strconv.ParseInt(value, 10, 32)
			if err != nil {
				faults = append(faults, fault(change, "must be a whole number of units", "0 to 100000", ""))
				continue
			}
			usable := int32(n)
			v.Lots = append(v.Lots, &bowrollv1.LotCount{Lot: strings.TrimSuffix(lot, ".usable_count"), UsableCount: &usable})
			continue
		}
		if !slices.ContainsFunc(varied, func(k string) bool { return key == k || strings.HasSuffix(k, ".") && strings.HasPrefix(key, k) }) {
			faults = append(faults, fault(key, "cannot be varied", "natural_wind.*, air.*, ship.*, crews.*, policy.*, greatest_speed, reserve_count, lots.ID", ""))
			continue
		}
		document.Set(key, value, "--vary")
	}
	changed := &bowrollv1.Cycle{}
	if _, err := document.Decode(changed); err != nil {
		if found, ok := err.(cycle.Faults); ok {
			return v, append(faults, found...)
		}
		return v, append(faults, fault(text, err.Error(), "", ""))
	}
	otherwise(v, asked, changed)
	return v, faults
}

// otherwise puts into a variant what differs.
func otherwise(v *bowrollv1.CycleVariant, asked, changed *bowrollv1.Cycle) {
	if !proto.Equal(asked.GetNaturalWind(), changed.GetNaturalWind()) {
		v.NaturalWind = changed.GetNaturalWind()
	}
	if !proto.Equal(asked.GetAir(), changed.GetAir()) {
		v.Air = changed.GetAir()
	}
	if !proto.Equal(asked.GetShip(), changed.GetShip()) {
		v.Ship = changed.GetShip()
	}
	if !proto.Equal(asked.GetCrews(), changed.GetCrews()) {
		v.Crews = changed.GetCrews()
	}
	if !proto.Equal(asked.GetPolicy(), changed.GetPolicy()) {
		v.Policy = changed.GetPolicy()
	}
	if asked.GreatestSpeedMps == nil || asked.GetGreatestSpeedMps() != changed.GetGreatestSpeedMps() {
		v.GreatestSpeedMps = changed.GreatestSpeedMps
	}
	if asked.ReserveCount == nil || asked.GetReserveCount() != changed.GetReserveCount() {
		v.ReserveCount = changed.ReserveCount
	}
}

// speeds reads a range of speeds, "6 kt to 24 kt by 3 kt".
func speeds(text string) (*bowrollv1.SpeedSweep, cycle.Faults) {
	fault := cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--speeds"}, Value: text,
		Problem: "is not read as a range of speeds", Allowed: "FROM to TO by STEP, at most 41 speeds", Hint: `e.g. --speeds "6 kt to 24 kt by 3 kt"`}}
	least, rest, ok := strings.Cut(text, " to ")
	greatest, step, ok2 := strings.Cut(rest, " by ")
	if !ok || !ok2 {
		return nil, fault
	}
	var values []float64
	for _, part := range []string{least, greatest, step} {
		v, err := quantity.Parse(quantity.Speed, strings.TrimSpace(part))
		if err != nil {
			return nil, fault
		}
		values = append(values, v)
	}
	return &bowrollv1.SpeedSweep{LeastMps: &values[0], GreatestMps: &values[1], StepMps: &values[2]}, nil
}
