package rpc

import (
	"math"

	"bowroll/perf/aircraft"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// aircraftType turns the contract's aircraft type, already validated, into the
// model's.
func aircraftType(p *bowrollv1.AircraftType) *aircraft.Type {
	t := &aircraft.Type{
		ID:                p.GetName(),
		Name:              p.GetDisplayName(),
		WingAreaM2:        p.GetWingAreaM2(),
		SpanM:             p.GetSpanM(),
		Oswald:            p.GetOswald(),
		WingHeightM:       p.GetWingHeightM(),
		LiftoffFactor:     p.GetLiftoffFactor(),
		RotationTimeS:     p.GetRotationTimeS(),
		EmptyMassKG:       p.GetLeastMassKg(),
		MaxMassKG:         p.GetGreatestMassKg(),
		CrosswindLimitMPS: p.CrosswindLimitMps,
		TailwindLimitMPS:  p.TailwindLimitMps,
		YawCoefficient:    p.YawCoefficientLimit,
	}
	for _, f := range p.GetFlaps() {
		t.Flaps = append(t.Flaps, aircraft.Flap{
			Name: f.GetId(), CLMax: f.GetClMax(), CLRoll: f.GetClRoll(), CD0: f.GetCd0(),
		})
	}
	if thrust := p.GetThrust(); thrust != nil {
		t.Thrust = aircraft.ThrustTable{
			AirspeedMPS:     thrust.GetAirspeedMps(),
			ThrustN:         thrust.GetThrustN(),
			DensityExponent: thrust.GetDensityExponent(),
		}
	}
	if propeller := p.GetPropeller(); propeller != nil {
		t.Propeller = aircraftPropeller(propeller)
	}
	t.Stations = aircraftStations(p)
	if p.GetCorrection() != nil {
		return correction(p).Apply(t)
	}
	return t
}

// correction is what a type's correction multiplies; a factor that is not stated
// multiplies by 1.
func correction(p *bowrollv1.AircraftType) aircraft.Correction {
	c, stated := aircraft.Uncorrected, p.GetCorrection()
	if stated == nil {
		return c
	}
	if stated.ThrustFactor != nil {
		c.Thrust = stated.GetThrustFactor()
	}
	if stated.RollingFrictionFactor != nil {
		c.RollingFriction = stated.GetRollingFrictionFactor()
	}
	if stated.DragFactor != nil {
		c.Drag = stated.GetDragFactor()
	}
	return c
}

// aircraftStations gives each station the sign of its side and, where a loading
// lists it beside one, the station opposite.
func aircraftStations(p *bowrollv1.AircraftType) []aircraft.Station {
	var stations []aircraft.Station
	for _, s := range p.GetStations() {
		lateral := s.GetLateralArmM()
		if s.GetSide() == bowrollv1.Side_SIDE_PORT {
			lateral = -lateral
		}
		line := s.GetFiringLine()
		if line == "" {
			line = s.GetId() // a line of its own
		}
		stations = append(stations, aircraft.Station{
			ID: s.GetId(), LateralM: lateral, LongitudinalM: -s.GetAftArmM(), Line: line,
		})
	}
	for i := range stations {
		for j := range stations {
			if i != j && stations[i].LateralM != 0 &&
				stations[i].LateralM == -stations[j].LateralM &&
				stations[i].LongitudinalM == stations[j].LongitudinalM {
				stations[i].Mirror = stations[j].ID
				break
			}
		}
	}
	return stations
}

// aircraftPropeller gives the model one disc with the area of all propellers.
func aircraftPropeller(p *bowrollv1.Propeller) *aircraft.Propeller {
	return &aircraft.Propeller{
		ShaftPowerW:      p.GetPowerW(),
		DiameterM:        p.GetDiameterM() * math.Sqrt(float64(p.GetPropellerCount())),
		EfficiencyFactor: p.GetEfficiencyFactor(),
		DensityExponent:  p.GetDensityExponent(),
	}
}
