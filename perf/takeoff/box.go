package takeoff

import (
	"math"
	"slices"

	"bowroll/perf/air"
	"bowroll/perf/booster"
)

// A BoxRange is one side of a box, ends included. An end that is not Found is
// where the search ended, not where anything fails: the run fits there too.
type BoxRange struct {
	Low, High           float64
	LowFound, HighFound bool
}

// Contains tells whether a value lies in the range.
func (b BoxRange) Contains(v float64) bool { return v >= b.Low && v <= b.High }

// A Box is the set of conditions inside which an answer holds: anywhere in it
// the required run fits the run available, fired as given.
type Box struct {
	HeadwindMPS  BoxRange // credited
	GrossMassKG  BoxRange // without units
	AirC         BoxRange
	GrainC       *BoxRange // of every unit; nil without units
	SpotM        float64   // how far from its spot the aircraft may stand, either way along the axis
	CrosswindMPS *float64  // at most, from either side; nil: no limit is stated
	// Shrunk is the part of the way to the sides, each found with all else held,
	// that could be kept with all of them at their worst together.
	Shrunk float64
}

// A BoxQuestion is what a box is asked for.
type BoxQuestion struct {
	Units      []booster.Unit
	Firing     Firing // held as given
	Policy     Policy
	AvailableM float64
	// Covered asks for more: that every single failure keeps a leg that the
	// policy accepts.
	Covered           bool
	MostHeadwindMPS   float64 // no more is looked at; 0: as far as the model goes
	CrosswindLimitMPS *float64
}

// The inputs that a box has sides for.
const (
	boxHeadwind = iota
	boxMass
	boxAir
	boxGrain // added to the grain temperature of every unit
	boxInputs
)

// boxPoint is one set of conditions.
type boxPoint [boxInputs]float64

// The search for the sides and for the box that they make together.
const (
	boxScan   = 16 // steps outward before a side is narrowed down
	boxHalves = 20 // halvings of a side
	boxParts  = 10 // halvings of the box
	boxGrid   = 2  // places between the ends that are tried while narrowing down
	boxFine   = 8  // places between the ends that the box found is tried at

	// Kept back from the run available, so that nothing hangs on the last digit.
	boxSlackM = 1e-6
)

// boxSearch holds what the search for a box needs over and over.
type boxSearch struct {
	r       *Runner
	s       *booster.Schedule
	q       BoxQuestion
	nominal boxPoint
	ends    [boxInputs][2]float64 // how far each side is looked for
	least   float64               // coldest and hottest unit as fitted
	most    float64
	varied  Runner
	airC    float64 // what varied was prepared for
	units   []booster.Unit
}

// Box finds the box of a take-off. ok is false where the answer does not hold as
// it stands. Each side is found by root with all else held; then all are drawn
// in together until the box holds at all its corners and on a grid between
// them: the run is not everywhere monotone in mass or temperature at a fixed
// firing. The schedule is scratch memory.
func (r *Runner) Box(s *booster.Schedule, q BoxQuestion) (box Box, ok bool) {
	b := boxSearch{r: r, s: s, q: q}
	b.begin()
	if !b.fits(b.nominal, 0, nil, b.q.Covered) {
		return Box{}, false
	}
	var sides [boxInputs][2]float64
	var found [boxInputs][2]bool
	for i := range sides {
		for k := range sides[i] {
			sides[i][k], found[i][k] = b.side(i, b.ends[i][k])
		}
	}
	spot := b.spot()
	part := b.shrink(sides, spot)
	ranges := b.widen(b.ranges(sides, part), sides, found, part*spot)
	box = Box{
		HeadwindMPS: ranges[boxHeadwind], GrossMassKG: ranges[boxMass], AirC: ranges[boxAir],
		SpotM: part * spot, CrosswindMPS: q.CrosswindLimitMPS, Shrunk: part,
	}
	if len(q.Units) > 0 {
		grain := ranges[boxGrain]
		grain.Low, grain.High = b.least+grain.Low, b.most+grain.High
		box.GrainC = &grain
	}
	return box, true
}

// begin sets out from the setting as it is.
func (b *boxSearch) begin() {
	setting := b.r.setting
	b.airC = setting.Air.TemperatureC
	b.nominal = boxPoint{boxHeadwind: b.r.headwind, boxMass: b.r.grossMass, boxAir: b.airC}
	b.r.Vary(&b.varied, Variation{})
	mostWind := GreatestHeadwindMPS
	if b.q.MostHeadwindMPS > 0 {
		mostWind = b.q.MostHeadwindMPS
	}
	t := setting.Aircraft
	b.ends[boxHeadwind] = [2]float64{min(LeastHeadwindMPS, b.r.headwind), max(mostWind, b.r.headwind)}
	b.ends[boxMass] = [2]float64{b.r.grossMass, b.r.grossMass}
	if t.EmptyMassKG > 0 {
		b.ends[boxMass][0] = min(t.EmptyMassKG, b.r.grossMass)
	}
	if t.MaxMassKG > 0 {
		b.ends[boxMass][1] = max(t.MaxMassKG, b.r.grossMass)
	}
	b.ends[boxAir] = [2]float64{air.MinTemperatureC, air.MaxTemperatureC}
	b.least, b.most = math.Inf(1), math.Inf(-1)
	low, high := math.Inf(-1), math.Inf(1)
	for i := range b.q.Units {
		u := &b.q.Units[i]
		b.least, b.most = min(b.least, u.GrainTemperatureC), max(b.most, u.GrainTemperatureC)
		if limits := u.Type.Firing; limits != nil {
			low, high = max(low, limits.MinC), min(high, limits.MaxC)
		} else {
			low, high = max(low, air.MinTemperatureC), min(high, air.MaxTemperatureC)
		}
	}
	if len(b.q.Units) > 0 {
		b.ends[boxGrain] = [2]float64{min(0, low-b.least), max(0, high-b.most)}
	}
	b.units = slices.Clone(b.q.Units)
}

// fits tells whether the answer holds under other conditions, the run available
// shorter by shortM, and with covered whether every single failure keeps a leg.
// grain, if given, says the temperature of each unit instead of the point's one
// number, which is added to all.
func (b *boxSearch) fits(p boxPoint, shortM float64, grain func(u *booster.Unit) float64, covered bool) bool {
	if p[boxAir] != b.airC {
		day := b.r.setting.Air
		density := air.DensityKgM3(day.PressurePa, p[boxAir], day.RelativeHumidity)
		b.r.Vary(&b.varied, Variation{Density: density/day.DensityKgM3 - 1})
		b.airC = p[boxAir]
	}
	b.varied.SetHeadwind(p[boxHeadwind])
	b.varied.SetGrossMass(p[boxMass])
	for i := range b.units {
		u := &b.units[i]
		*u = b.q.Units[i]
		if grain != nil {
			u.GrainTemperatureC = grain(&b.q.Units[i])
		} else {
			u.GrainTemperatureC += p[boxGrain]
		}
	}
	available := b.q.AvailableM - shortM - boxSlackM
	b.q.Firing.Schedule(b.s, b.units)
	roll := b.varied.Roll(b.s)
	if !roll.LiftsOff || !(roll.RunM*b.q.Policy.RunFactor <= available) {
		return false
	}
	return !covered || b.varied.Covered(b.s, b.units, b.q.Firing, b.q.Policy, available)
}

// side looks outward from the conditions as they are, all else held, for the
// nearest place where the answer fails, and gives the last one before it.
func (b *boxSearch) side(input int, end float64) (limit float64, found bool) {
	at := func(x float64) bool {
		p := b.nominal
		p[input] = x
		return b.fits(p, 0, nil, b.q.Covered)
	}
	good := b.nominal[input]
	if end == good {
		return end, false
	}
	for i := 1; i <= boxScan; i++ {
		x := b.nominal[input] + float64((end-b.nominal[input])*float64(i)/boxScan)
		if at(x) {
			good = x
			continue
		}
		bad := x
		for range boxHalves {
			if mid := good + float64(0.5*(bad-good)); at(mid) {
				good = mid
			} else {
				bad = mid
			}
		}
		return good, true
	}
	return end, false
}

// spot finds how much shorter the run may be.
func (b *boxSearch) spot() float64 {
	good, bad := 0.0, b.q.AvailableM
	for range boxHalves {
		if mid := good + float64(0.5*(bad-good)); b.fits(b.nominal, mid, nil, b.q.Covered) {
			good = mid
		} else {
			bad = mid
		}
	}
	return good
}

// ranges are the sides when only a part of the way to them is kept.
func (b *boxSearch) ranges(sides [boxInputs][2]float64, part float64) (ranges [boxInputs]BoxRange) {
	for i := range ranges {
		ranges[i] = BoxRange{
			Low:      b.nominal[i] + float64(part*(sides[i][0]-b.nominal[i])),
			High:     b.nominal[i] + float64(part*(sides[i][1]-b.nominal[i])),
			LowFound: true, HighFound: true,
		}
	}
	return ranges
}

// shrink finds the greatest part of the way to the sides with which the box
// holds everywhere it is tried, 0 where there is none.
func (b *boxSearch) shrink(sides [boxInputs][2]float64, spot float64) float64 {
	holds := func(part float64, grid int) bool {
		return b.holds(b.ranges(sides, part), part*spot, grid)
	}
	good, bad := 0.0, 1.0
	if holds(1, boxGrid) {
		good, bad = 1, 1
	}
	for range boxParts {
		if mid := good + float64(0.5*(bad-good)); holds(mid, boxGrid) {
			good = mid
		} else {
			bad = mid
		}
	}
	// What the coarse grid stepped over the fine one finds.
	for !holds(good, boxFine) {
		if good *= 0.98; good < 1e-3 {
			return 0
		}
	}
	return good
}

// widen moves sides that have no end in range back out to where the search
// ended, where that costs the others nothing: more wind, a lighter aircraft or
// colder air as a rule.
func (b *boxSearch) widen(ranges [boxInputs]BoxRange, sides [boxInputs][2]float64, found [boxInputs][2]bool, spotM float64) [boxInputs]BoxRange {
	for i := range ranges {
		for k := range found[i] {
			if found[i][k] {
				continue
			}
			wide := ranges
			if k == 0 {
				wide[i].Low, wide[i].LowFound = sides[i][0], false
			} else {
				wide[i].High, wide[i].HighFound = sides[i][1], false
			}
			if b.holds(wide, spotM, boxFine) {
				ranges = wide
			}
		}
	}
	return ranges
}

// holds tries the box where it may fail: at its least headwind, on a grid of mass
// and air, with each way in which the grain may be cold and hot. More headwind
// never lengthens a run at a fixed firing; all else may be worst somewhere
// inside. The legs of failures are tried at the corners, of most wind too.
func (b *boxSearch) holds(ranges [boxInputs]BoxRange, spotM float64, grid int) bool {
	grains := b.grains(ranges[boxGrain])
	airs, masses, winds := ranges[boxAir], ranges[boxMass], ranges[boxHeadwind]
	for _, airC := range levels(airs, b.nominal[boxAir], grid/2) {
		for _, mass := range levels(masses, b.nominal[boxMass], grid) {
			corner := b.q.Covered && (airC == airs.Low || airC == airs.High) && (mass == masses.Low || mass == masses.High)
			p := boxPoint{boxHeadwind: winds.Low, boxMass: mass, boxAir: airC}
			for _, grain := range grains {
				if !b.fits(p, spotM, grain, corner) {
					return false
				}
			}
			if p[boxHeadwind] = winds.High; corner && !b.fits(p, spotM, nil, true) {
				return false
			}
		}
	}
	return true
}

// levels are the ends of a range, the value as it is, and n points between the
// ends.
func levels(r BoxRange, nominal float64, n int) []float64 {
	list := []float64{r.Low, nominal, r.High}
	for i := 1; i <= n; i++ {
		list = append(list, r.Low+(r.High-r.Low)*float64(i)/float64(n+1))
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// grains are the grain temperatures tried: all units alike, at five places from
// the coldest to the hottest; as they are; and one side at the coldest with the
// other at the hottest.
func (b *boxSearch) grains(r BoxRange) []func(*booster.Unit) float64 {
	if len(b.q.Units) == 0 {
		return []func(*booster.Unit) float64{nil}
	}
	coldest, hottest := b.least+r.Low, b.most+r.High
	list := []func(*booster.Unit) float64{nil}
	for i := range 5 {
		alike := coldest + float64((hottest-coldest)*float64(i)/4)
		list = append(list, func(*booster.Unit) float64 { return alike })
	}
	for _, cold := range []int{-1, 1} {
		list = append(list, func(u *booster.Unit) float64 {
			if side(u) == cold {
				return coldest
			}
			return hottest
		})
	}
	return list
}
