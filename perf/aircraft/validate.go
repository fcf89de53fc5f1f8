package aircraft

import (
	"strconv"

	"bowroll/perf/violation"
)

// Validate returns a [violation.List] with everything in the type that the
// model cannot work with, or nil. Limits that are nil are not faults here; what
// needs them says so where it is asked.
func (t *Type) Validate() error {
	var faults violation.List
	faults.Positive("wing_area_m2", t.WingAreaM2, "")
	faults.Positive("span_m", t.SpanM, "")
	faults.Range("oswald", t.Oswald, 0.2, 1.2, "span efficiency, near 0.8")
	faults.NotNegative("wing_height_m", t.WingHeightM, "")
	faults.Range("liftoff_factor", t.LiftoffFactor, 1, 1.5, "of the stalling speed, 1.05 to 1.25 in practice")
	faults.Range("rotation_time_s", t.RotationTimeS, 0, 10, "")
	if faults.Positive("empty_mass_kg", t.EmptyMassKG, "") && faults.Positive("max_mass_kg", t.MaxMassKG, "") &&
		t.MaxMassKG < t.EmptyMassKG {
		faults.Add("max_mass_kg", violation.Number(t.MaxMassKG),
			"at least empty_mass_kg ("+violation.Number(t.EmptyMassKG)+")", "")
	}
	if t.CrosswindLimitMPS != nil {
		faults.NotNegative("crosswind_limit_mps", *t.CrosswindLimitMPS, "")
	}
	if t.TailwindLimitMPS != nil {
		faults.NotNegative("tailwind_limit_mps", *t.TailwindLimitMPS, "")
	}
	if t.YawCoefficient != nil {
		faults.Positive("yaw_coefficient", *t.YawCoefficient, "")
	}
	t.validateFlaps(&faults)
	if t.Propeller != nil {
		faults.Nest("propeller", t.Propeller.validate())
		if len(t.Thrust.AirspeedMPS) > 0 {
			faults.Add("thrust", "given beside propeller", "one of the two", "remove one")
		}
	} else {
		faults.Nest("thrust", t.Thrust.validate())
	}
	t.validateStations(&faults)
	return faults.Err()
}

func (t *Type) validateFlaps(faults *violation.List) {
	if len(t.Flaps) == 0 {
		faults.Absent("flaps", "at least one setting", "")
	}
	for i, flap := range t.Flaps {
		path := violation.Index("flaps", i)
		if t.FlapIndex(flap.Name) < i {
			faults.Add(path+".name", strconv.Quote(flap.Name), "unlike the names before it", "")
		}
		positive := faults.Positive(path+".cl_max", flap.CLMax, "")
		if faults.NotNegative(path+".cl_roll", flap.CLRoll, "") && positive && flap.CLRoll > flap.CLMax {
			faults.Add(path+".cl_roll", violation.Number(flap.CLRoll), "at most cl_max ("+violation.Number(flap.CLMax)+")", "")
		}
		faults.NotNegative(path+".cd0", flap.CD0, "")
	}
}

func (t *Type) validateStations(faults *violation.List) {
	for i, station := range t.Stations {
		path := violation.Index("stations", i)
		if station.ID == "" {
			faults.Absent(path+".id", "given", "")
		} else if t.StationIndex(station.ID) < i {
			faults.Add(path+".id", strconv.Quote(station.ID), "unlike the ids before it", "")
		}
		finite := faults.Finite(path+".lateral_m", station.LateralM, "")
		faults.Finite(path+".longitudinal_m", station.LongitudinalM, "")
		if !finite {
			continue
		}
		if station.Side() == 0 {
			if station.Mirror != "" {
				faults.Add(path+".mirror", strconv.Quote(station.Mirror), "empty on the centre line", "")
			}
			continue
		}
		j := t.StationIndex(station.Mirror)
		if j < 0 || t.Stations[j].LateralM != -station.LateralM || t.Stations[j].Mirror != station.ID {
			faults.Add(path+".mirror", strconv.Quote(station.Mirror),
				"the id of the station at lateral_m "+violation.Number(-station.LateralM)+" that names this one", "")
		}
	}
}
