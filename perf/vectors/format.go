package vectors

import (
	"encoding/json"
	"fmt"
	"io"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// A Vector is one take-off and the numbers expected of it.
type Vector struct {
	ID     string `json:"id"`
	Case   Case   `json:"case"`
	Expect Expect `json:"expect"`
}

// A Case is the input of a vector, SI with the unit in the key.
type Case struct {
	Aircraft struct {
		WingAreaM2    float64 `json:"wing_area_m2"`
		SpanM         float64 `json:"span_m"`
		Oswald        float64 `json:"oswald"`
		WingHeightM   float64 `json:"wing_height_m"`
		CLMax         float64 `json:"cl_max"`
		CLRoll        float64 `json:"cl_roll"`
		CD0           float64 `json:"cd0"`
		LiftoffFactor float64 `json:"liftoff_factor"`
		RotationTimeS float64 `json:"rotation_time_s"`
		Thrust        struct {
			AirspeedMPS     []float64 `json:"airspeed_mps"`
			ThrustN         []float64 `json:"thrust_n"`
			DensityExponent float64   `json:"density_exponent"`
		} `json:"thrust"`
	} `json:"aircraft"`
	GrossMassKG float64 `json:"gross_mass_kg"`
	Air         struct {
		PressurePa        *float64 `json:"pressure_pa"`
		PressureAltitudeM *float64 `json:"pressure_altitude_m"`
		ElevationM        *float64 `json:"elevation_m"`
		QNHPa             *float64 `json:"qnh_pa"`
		TemperatureC      *float64 `json:"temperature_c"`
		RelativeHumidity  *float64 `json:"relative_humidity"`
	} `json:"air"`
	HeadwindMPS float64 `json:"headwind_mps"`
	Site        struct {
		RollingFriction float64 `json:"rolling_friction"`
		BrakingFriction float64 `json:"braking_friction"`
		Upslope         float64 `json:"upslope"`
	} `json:"site"`
	ScreenM  float64   `json:"screen_m"`
	Boosters *Boosters `json:"boosters"`
}

// Boosters are the units of a case, all of one type.
type Boosters struct {
	Count int `json:"count"`
	Duds  int `json:"duds"`
	Type  struct {
		TraceS                  []float64 `json:"trace_s"`
		TraceN                  []float64 `json:"trace_n"`
		LoadedMassKG            float64   `json:"loaded_mass_kg"`
		PropellantMassKG        float64   `json:"propellant_mass_kg"`
		PressureSensitivityPerK float64   `json:"pressure_sensitivity_per_k"`
		ReferenceTemperatureC   float64   `json:"reference_temperature_c"`
		CantDeg                 float64   `json:"cant_deg"`
		SplayDeg                float64   `json:"splay_deg"`
		IgnitionDelayS          float64   `json:"ignition_delay_s"`
		DragAreaM2              float64   `json:"drag_area_m2"`
	} `json:"type"`
	GrainTemperatureC float64 `json:"grain_temperature_c"`
	Firing            struct {
		Mode      string  `json:"mode"`
		DelayS    float64 `json:"delay_s"`
		ReactionS float64 `json:"reaction_s"`
	} `json:"firing"`
}

// Expect is the output of a vector. A nil pointer is a number not given.
type Expect struct {
	Density *float64 `json:"density"`
	Roll    *struct {
		OK      bool     `json:"ok"`
		T       *float64 `json:"t"`
		V       *float64 `json:"v"`
		S       *float64 `json:"s"`
		VLOFAir *float64 `json:"vlof_air"`
		Why     string   `json:"why"`
	} `json:"roll"`
	RunWithRotationM *float64 `json:"run_with_rotation_m"`
	Air              *struct {
		OK    bool     `json:"ok"`
		S     *float64 `json:"s"`
		T     *float64 `json:"t"`
		V     *float64 `json:"v"`
		Gamma *float64 `json:"gamma"`
	} `json:"air"`
	StopFromLiftoffSpeedM *float64 `json:"stop_from_liftoff_speed_m"`
	AvailableM            *float64 `json:"available_m"`
	MinimumHeadwindMPS    *float64 `json:"minimum_headwind_mps"`
	BestRollingDelayS     *float64 `json:"best_rolling_delay_all_firing_s"`
	RollAtBestDelayM      *float64 `json:"roll_at_best_delay_m"`
}

// Read reads a file of vectors: a JSON list. Unknown keys are refused, since a
// key that is not understood is a number that is not checked.
func Read(r io.Reader) ([]Vector, error) {
	decoder := json.NewDecoder(r)
	decoder.DisallowUnknownFields()
	var list []Vector
	if err := decoder.Decode(&list); err != nil {
		return nil, fmt.Errorf("vectors: %w", err)
	}
	return list, nil
}

// Setting turns a case into a take-off and its firing, with the duds dud.
func (c *Case) Setting() (takeoff.Setting, takeoff.Firing, error) {
	day, err := air.At(air.Conditions(c.Air))
	if err != nil {
		return takeoff.Setting{}, takeoff.Firing{}, err
	}
	a := &c.Aircraft
	setting := takeoff.Setting{
		Aircraft: &aircraft.Type{
			WingAreaM2: a.WingAreaM2, SpanM: a.SpanM, Oswald: a.Oswald, WingHeightM: a.WingHeightM,
			Flaps:         []aircraft.Flap{{CLMax: a.CLMax, CLRoll: a.CLRoll, CD0: a.CD0}},
			LiftoffFactor: a.LiftoffFactor,
			RotationTimeS: a.RotationTimeS,
			Thrust:        aircraft.ThrustTable(a.Thrust),
			// The format has no mass band; the case is its own.
			EmptyMassKG: c.GrossMassKG, MaxMassKG: c.GrossMassKG,
		},
		GrossMassKG: c.GrossMassKG,
		Air:         day,
		HeadwindMPS: c.HeadwindMPS,
		Surface: takeoff.Surface{
			RollingFriction: c.Site.RollingFriction, BrakingFriction: c.Site.BrakingFriction, Upslope: c.Site.Upslope,
		},
	}
	if err := setting.Aircraft.Validate(); err != nil {
		return takeoff.Setting{}, takeoff.Firing{}, err
	}
	if c.Boosters == nil {
		return setting, takeoff.Firing{}, nil
	}
	firing, err := c.Boosters.fit(&setting)
	return setting, firing, err
}

// fit adds the units to the setting.
func (b *Boosters) fit(setting *takeoff.Setting) (takeoff.Firing, error) {
	t := &b.Type
	kind := &booster.Type{
		TraceS: t.TraceS, TraceN: t.TraceN,
		LoadedMassKG: t.LoadedMassKG, PropellantMassKG: t.PropellantMassKG,
		IgnitionDelayS: t.IgnitionDelayS, CantDeg: t.CantDeg, SplayDeg: t.SplayDeg, DragAreaM2: t.DragAreaM2,
		PressureSensitivityPerK: t.PressureSensitivityPerK, ReferenceTemperatureC: t.ReferenceTemperatureC,
	}
	if err := kind.Validate(); err != nil {
		return takeoff.Firing{}, err
	}
	if b.Count < 0 || b.Duds < 0 || b.Duds > b.Count || b.Count > 64 {
		return takeoff.Firing{}, fmt.Errorf("boosters: count %d with %d duds: must be 0 to 64, duds no more than count", b.Count, b.Duds)
	}
	for i := range b.Count {
		setting.Units = append(setting.Units, booster.Unit{
			Type: kind, GrainTemperatureC: b.GrainTemperatureC, Dud: i < b.Duds,
		})
	}
	switch b.Firing.Mode {
	case "rolling":
		return takeoff.Firing{Mode: takeoff.Rolling, DelayS: b.Firing.DelayS}, nil
	case "on_brakes":
		return takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: b.Firing.ReactionS}, nil
	}
	return takeoff.Firing{}, fmt.Errorf("boosters.firing.mode is %q: must be \"rolling\" or \"on_brakes\"", b.Firing.Mode)
}
