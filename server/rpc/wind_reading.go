package rpc

import (
	"context"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// ReadWind makes one wind of what a site's anemometers show.
func (w *WindLimits) ReadWind(_ context.Context, req *bowrollv1.WindLimitsReadWindRequest) (*bowrollv1.WindReading, error) {
	found, err := refusal.Check(w.resolver.validator, "", req)
	if err != nil {
		return nil, err
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	site, ok := w.resolver.catalog.Site(req.GetSite())
	if !ok {
		return nil, refusal.Invalid([]*bowrollv1.Violation{unknown("site", req.GetSite(), w.resolver.catalog.SiteNames(), "see the catalog")})
	}
	if site.GreatestSpeedMps != nil && req.GetShip() == nil {
		return nil, refusal.Invalid([]*bowrollv1.Violation{{
			Field: "ship", Rule: "required", Allowed: "given", Hint: site.GetName() + " moves: state her course and speed while the readings were taken",
		}})
	}
	read, found := readWind(site, req.GetShip(), req.GetReadings())
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	read.answer.Provenance = provenance(w.resolver.catalog, req, site)
	return read.answer, nil
}

// A windRead is the wind behind readings, for the model and for the answer.
type windRead struct {
	natural wind.Natural
	answer  *bowrollv1.WindReading
}

// readWind corrects readings by the tables of a site and makes one wind of them.
// The faults are of the field readings.
func readWind(site *bowrollv1.Site, ship *bowrollv1.Ship, readings []*bowrollv1.AnemometerReading) (*windRead, []*bowrollv1.Violation) {
	if len(site.GetAnemometers()) == 0 || site.GetWindQuality() == nil {
		return nil, []*bowrollv1.Violation{{
			Field: "readings", Rule: "goes-with", Allowed: "a site whose anemometers the catalog knows",
			Hint: site.GetName() + " states none: give natural_wind",
		}}
	}
	q := site.GetWindQuality()
	resolved, err := wind.Resolve(modelReadings(readings), modelAnemometers(site.GetAnemometers()), wind.Quality{
		LeastAveragingS: q.GetLeastAveragingS(), GreatestAveragingS: q.GetGreatestAveragingS(), AgreeMPS: q.GetAgreeMps(),
		LullFactor: q.LullFactor, GustFactor: q.GustFactor,
	})
	if err != nil {
		return nil, refusal.FromModel("", err)
	}
	out := &windRead{answer: &bowrollv1.WindReading{
		DifferenceMps: resolved.DifferenceMPS, LullEstimated: resolved.LullEstimated, GustEstimated: resolved.GustEstimated,
	}}
	used := 0
	for _, s := range resolved.Sensors {
		sensor := &bowrollv1.SensorReading{Anemometer: s.Anemometer, Used: s.Used, Note: s.Note}
		if s.Used {
			used++
			sensor.RelativeFromDeg = proto.Float64(s.Corrected.RelativeFromDeg)
			sensor.SpeedMps = proto.Float64(s.Corrected.SpeedMPS)
		}
		out.answer.Sensors = append(out.answer.Sensors, sensor)
	}
	switch resolved.Hold {
	case wind.HoldDisagree:
		out.answer.Hold = bowrollv1.WindHold_WIND_HOLD_SENSORS_DISAGREE
		out.answer.Text = fmt.Sprintf("Held: two sensors differ by %.1f m/s, more than the %.1f m/s that the site allows; nobody can say which is right.",
			resolved.DifferenceMPS, q.GetAgreeMps())
		return out, nil
	case wind.HoldNoReading:
		out.answer.Hold = bowrollv1.WindHold_WIND_HOLD_NO_USABLE_READING
		out.answer.Text = "Held: no reading may be used."
		return out, nil
	}
	out.natural = resolved.Felt.Natural(wind.Ship{CourseDeg: ship.GetCourseDeg(), SpeedMPS: ship.GetSpeedMps()})
	out.answer.Hold = bowrollv1.WindHold_WIND_HOLD_NONE
	out.answer.DeckWind = &bowrollv1.DeckWind{
		RelativeFromDeg: proto.Float64(resolved.Felt.RelativeFromDeg), SpeedMps: proto.Float64(resolved.Felt.SpeedMPS),
	}
	out.answer.NaturalWind = enclosing(out.natural)
	out.answer.SigmaMps = proto.Float64(resolved.SigmaMPS)
	out.answer.Text = fmt.Sprintf("Natural wind from %03.0f degrees, %.1f m/s, from %d of %d readings.",
		math.Mod(math.Round(out.natural.Mean.FromDeg), 360), out.natural.Mean.SpeedMPS, used, len(readings))
	return out, nil
}

// enclosing puts a wind whose lull and gust come from directions of their own
// into one with a single direction and a spread that covers them. A lull or gust
// that turns out on the other side of the mean in speed is brought to it.
func enclosing(n wind.Natural) *bowrollv1.NaturalWind {
	out := &bowrollv1.NaturalWind{FromDeg: proto.Float64(n.Mean.FromDeg), SpeedMps: proto.Float64(n.Mean.SpeedMPS), Source: "anemometers"}
	spread := n.SpreadDeg
	low, high := n.Mean.SpeedMPS, n.Mean.SpeedMPS
	for _, v := range []*wind.Vector{n.Lull, n.Gust} {
		if v == nil {
			continue
		}
		off := math.Abs(math.Remainder(v.FromDeg-n.Mean.FromDeg, 360))
		spread = max(spread, off)
		low, high = min(low, v.SpeedMPS), max(high, v.SpeedMPS)
	}
	if n.Lull != nil || low < n.Mean.SpeedMPS {
		out.LullMps = proto.Float64(low)
	}
	if n.Gust != nil || high > n.Mean.SpeedMPS {
		out.GustMps = proto.Float64(high)
	}
	if spread > 0 {
		out.DirectionSpreadDeg = proto.Float64(min(spread, 90))
	}
	return out
}

func modelReadings(readings []*bowrollv1.AnemometerReading) []wind.Reading {
	list := make([]wind.Reading, len(readings))
	for i, r := range readings {
		list[i] = wind.Reading{
			Anemometer: r.GetAnemometer(), AveragingS: r.GetAveragingS(),
			Felt: wind.Felt{RelativeFromDeg: r.GetRelativeFromDeg(), SpeedMPS: r.GetSpeedMps(), LullMPS: r.LullMps, GustMPS: r.GustMps},
		}
	}
	return list
}

// modelAnemometers turns the tables of a site, already validated, into the
// model's.
func modelAnemometers(anemometers []*bowrollv1.Anemometer) []wind.Anemometer {
	list := make([]wind.Anemometer, len(anemometers))
	for i, a := range anemometers {
		list[i].Name = a.GetId()
		for _, c := range a.GetCorrections() {
			correction := wind.Correction{
				FromDeg: c.GetFromDeg(), ToDeg: c.GetToDeg(), SpeedFactor: 1,
				TurnDeg: c.GetTurnDeg(), SigmaMPS: c.GetSigmaMps(), Refused: c.GetMasked(),
			}
			if c.SpeedFactor != nil {
				correction.SpeedFactor = c.GetSpeedFactor()
			}
			list[i].Corrections = append(list[i].Corrections, correction)
		}
	}
	return list
}
