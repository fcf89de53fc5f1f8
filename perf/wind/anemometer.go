package wind

import (
	"strconv"

	"bowroll/perf/violation"
)

// An Anemometer is what is known of one of a ship's wind sensors. What the hull
// and the masts do to the air differs by the direction it comes from, so the
// corrections are a table over relative direction, measured on that ship.
type Anemometer struct {
	Name string
	// Corrections cover the directions that the sensor may be used in; none at
	// all means that it reads true everywhere.
	Corrections []Correction
}

// A Correction is what to do with a reading from a sector of relative
// directions, from FromDeg (included) clockwise to ToDeg (excluded), degrees
// from the ship's head.
type Correction struct {
	FromDeg, ToDeg float64
	SpeedFactor    float64 // true speed = factor x speed read
	TurnDeg        float64 // true direction = direction read + turn
	SigmaMPS       float64 // standard deviation left after correction
	Refused        bool    // the sensor is masked there and must not be used
}

func (c Correction) holds(relativeDeg float64) bool {
	width := c.width()
	return width >= 360 || circle(relativeDeg-c.FromDeg) < width
}

func (c Correction) width() float64 {
	if c.ToDeg-c.FromDeg >= 360 {
		return 360
	}
	return circle(c.ToDeg - c.FromDeg)
}

// Validate gives a [violation.List] of every fault in a, or nil.
func (a Anemometer) Validate() error {
	var faults violation.List
	if a.Name == "" {
		faults.Absent("name", "a name", "readings name their sensor")
	}
	for i, c := range a.Corrections {
		path := violation.Index("corrections", i)
		from := faults.Range(path+".from_deg", c.FromDeg, 0, 360, "from the ship's head")
		to := faults.Range(path+".to_deg", c.ToDeg, 0, 360, "from the ship's head")
		faults.Range(path+".speed_factor", c.SpeedFactor, 0.5, 2, "true speed over speed read")
		faults.Range(path+".turn_deg", c.TurnDeg, -45, 45, "added to the direction read")
		faults.Range(path+".sigma_mps", c.SigmaMPS, 0, 10, "")
		if from && to && c.width() == 0 {
			faults.Add(path+".to_deg", violation.Number(c.ToDeg), "unlike from_deg", "0 to 360 is every direction")
		}
		for j, before := range a.Corrections[:i] {
			if before.holds(c.FromDeg) || c.holds(before.FromDeg) {
				faults.Add(path+".from_deg", violation.Number(c.FromDeg), "clear of "+violation.Index("corrections", j), "sectors may not overlap")
			}
		}
	}
	return faults.Err()
}

// Felt is a wind as felt on a moving deck, directions from the ship's head.
type Felt struct {
	RelativeFromDeg float64
	SpeedMPS        float64
	LullMPS         *float64
	GustMPS         *float64
}

// Natural gives the natural wind behind a felt one: lull, mean and gust each
// less the ship's motion, so that they may come from different directions.
func (f Felt) Natural(s Ship) Natural {
	n := Natural{Mean: s.Natural(Vector{f.RelativeFromDeg, f.SpeedMPS})}
	if f.LullMPS != nil {
		v := s.Natural(Vector{f.RelativeFromDeg, *f.LullMPS})
		n.Lull = &v
	}
	if f.GustMPS != nil {
		v := s.Natural(Vector{f.RelativeFromDeg, *f.GustMPS})
		n.Gust = &v
	}
	return n
}

// correct applies a's table to a reading. The note says why a reading is not
// used, and is empty for one that is.
func (a Anemometer) correct(f Felt) (corrected Felt, sigmaMPS float64, note string) {
	if len(a.Corrections) == 0 {
		return f, 0, ""
	}
	for _, c := range a.Corrections {
		if !c.holds(f.RelativeFromDeg) {
			continue
		}
		if c.Refused {
			return f, 0, "masked from " + strconv.FormatFloat(c.FromDeg, 'g', -1, 64) + " to " + strconv.FormatFloat(c.ToDeg, 'g', -1, 64) + " degrees"
		}
		scale := func(v *float64) *float64 {
			if v == nil {
				return nil
			}
			scaled := *v * c.SpeedFactor
			return &scaled
		}
		return Felt{
			RelativeFromDeg: circle(f.RelativeFromDeg + c.TurnDeg),
			SpeedMPS:        f.SpeedMPS * c.SpeedFactor,
			LullMPS:         scale(f.LullMPS),
			GustMPS:         scale(f.GustMPS),
		}, c.SigmaMPS, ""
	}
	return f, 0, "no correction is known for this direction"
}
