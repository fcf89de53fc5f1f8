package rpc

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// reference is one case of testdata/vectors/takeoff.json: numbers computed by an
// independent implementation of the model on SciPy, no published source. Its
// keys are the contract's wherever they name the same thing.
type reference struct {
	ID   string
	Case struct {
		Aircraft    map[string]any
		GrossMassKG float64         `json:"gross_mass_kg"`
		Air         json.RawMessage `json:"air"`
		HeadwindMPS float64         `json:"headwind_mps"`
		Site        json.RawMessage
		ScreenM     float64         `json:"screen_m"`
		Boosters    json.RawMessage `json:"boosters"`
	}
	Expect struct {
		Density float64
		Roll    struct {
			OK      bool
			T, V, S float64
			VLOFAir float64 `json:"vlof_air"`
		}
		RunWithRotationM float64 `json:"run_with_rotation_m"`
		Air              *struct {
			OK             bool
			S, T, V, Gamma float64
		}
	}
}

// request turns a reference case into a request: flap settings are a list in the
// contract, enums have names of their own, and lift-off factors outside the
// contract's range are left out by returning nil.
func (r *reference) request(t *testing.T) *bowrollv1.TakeoffCase {
	t.Helper()
	a := r.Case.Aircraft
	flap := map[string]any{"id": "takeoff", "cl_max": a["cl_max"], "cl_roll": a["cl_roll"], "cd0": a["cd0"]}
	delete(a, "cl_max")
	delete(a, "cl_roll")
	delete(a, "cd0")
	a["flaps"] = []any{flap}
	aircraftJSON, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	c := &bowrollv1.TakeoffCase{
		Aircraft: &bowrollv1.AircraftType{}, Air: &bowrollv1.Air{}, Surface: &bowrollv1.Surface{},
		Flap: "takeoff", GrossMassKg: proto.Float64(r.Case.GrossMassKG), HeadwindMps: proto.Float64(r.Case.HeadwindMPS),
		ScreenM: proto.Float64(r.Case.ScreenM), AvailableM: proto.Float64(1000),
		Policy: &bowrollv1.Policy{RunFactor: proto.Float64(1)},
	}
	read(t, aircraftJSON, c.Aircraft)
	read(t, r.Case.Air, c.Air)
	read(t, r.Case.Site, c.Surface)
	if len(r.Case.Boosters) > 0 && string(r.Case.Boosters) != "null" {
		var b map[string]any
		if err := json.Unmarshal(r.Case.Boosters, &b); err != nil {
			t.Fatal(err)
		}
		firing := b["firing"].(map[string]any)
		firing["mode"] = map[string]string{
			"rolling": "FIRING_MODE_ROLLING", "on_brakes": "FIRING_MODE_ON_BRAKES", "unlit": "FIRING_MODE_UNLIT", "none": "FIRING_MODE_UNLIT",
		}[firing["mode"].(string)]
		changed, err := json.Marshal(b)
		if err != nil {
			t.Fatal(err)
		}
		c.Boosters = &bowrollv1.Boosters{}
		read(t, changed, c.Boosters)
	}
	return c
}

func read(t *testing.T, text []byte, m proto.Message) {
	t.Helper()
	if err := protojson.Unmarshal(text, m); err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, id, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance*math.Abs(want) {
		t.Errorf("%s: %s is %v, want %v within %v", id, what, got, want, tolerance)
	}
}

// The contract answers the reference cases with the model's own numbers.
func TestComputeAgreesWithReferenceVectors(t *testing.T) {
	text, err := os.ReadFile("../../testdata/vectors/takeoff.json")
	if err != nil {
		t.Fatal(err)
	}
	var list []reference
	if err := json.Unmarshal(text, &list); err != nil {
		t.Fatal(err)
	}
	service := NewTakeoffs(testValidator(t), testSnapshot(t), 1)
	answered := 0
	for i := range list {
		r := &list[i]
		out, err := service.Compute(context.Background(), &bowrollv1.TakeoffsComputeRequest{Case: r.request(t)})
		if err != nil {
			t.Errorf("%s: %v", r.ID, err)
			continue
		}
		answered++
		near(t, r.ID, "density", out.GetAir().GetDensityKgM3(), r.Expect.Density, 1e-6)
		if out.GetRoll().GetLiftsOff() != r.Expect.Roll.OK {
			t.Errorf("%s: lifts off %v, want %v", r.ID, out.GetRoll().GetLiftsOff(), r.Expect.Roll.OK)
			continue
		}
		if !r.Expect.Roll.OK {
			continue
		}
		near(t, r.ID, "roll time", out.GetRoll().GetTimeS(), r.Expect.Roll.T, 1e-6)
		near(t, r.ID, "roll distance", out.GetRoll().GetDistanceM(), r.Expect.Roll.S, 1e-6)
		near(t, r.ID, "ground speed", out.GetRoll().GetGroundSpeedMps(), r.Expect.Roll.V, 1e-6)
		near(t, r.ID, "lift-off airspeed", out.GetRoll().GetLiftoffAirspeedMps(), r.Expect.Roll.VLOFAir, 1e-6)
		near(t, r.ID, "run", out.GetRunM(), r.Expect.RunWithRotationM, 1e-6)
		if air := r.Expect.Air; air != nil && air.OK && r.Case.ScreenM > 0 {
			near(t, r.ID, "air distance", out.GetAirDistance().GetDistanceM(), air.S, 1e-5)
			near(t, r.ID, "airspeed at the screen", out.GetAirDistance().GetAirspeedMps(), air.V, 1e-5)
			near(t, r.ID, "path angle", out.GetAirDistance().GetPathAngleDeg()*math.Pi/180, air.Gamma, 1e-5)
		}
	}
	t.Logf("%d of %d reference cases answered", answered, len(list))
}
