package card

import (
	"cmp"
	"slices"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func liftoffMass(off *bowrollv1.Takeoff) *float64 {
	if off.GetRoll() == nil {
		return nil
	}
	return off.GetRoll().LiftoffMassKg
}

func environment(s Sources) Environment {
	e := Environment{}
	if w := s.Takeoff.GetWind(); w != nil {
		e.HeadwindMPS, e.CreditedHeadwindMPS, e.CrosswindMPS = &w.HeadwindMps, &w.CreditedHeadwindMps, &w.CrosswindMps
	}
	if w := s.Plan.GetWind(); w != nil { // the plan knows which state of the wind it was planned on
		e.HeadwindMPS, e.CrosswindMPS, e.PlannedOn = &w.HeadwindMps, &w.CrosswindMps, w.GetPlannedOn()
	}
	if w := s.Cycle.GetNaturalWind(); w != nil {
		e.NaturalFromDeg, e.NaturalMPS, e.LullMPS, e.GustMPS = w.FromDeg, w.SpeedMps, w.LullMps, w.GustMps
		e.WindSource = w.GetSource()
	}
	if ship := s.Plan.GetShip(); ship != nil {
		e.CourseDeg, e.ShipMPS = ship.CourseDeg, ship.SpeedMps
	}
	if a := s.Takeoff.GetAir(); a != nil {
		e.TemperatureC, e.PressurePa, e.PressureAltitudeM = &a.TemperatureC, &a.PressurePa, &a.PressureAltitudeM
	}
	if surface := s.Deck.GetSurface(); surface != nil {
		e.RollingFriction = surface.RollingFriction
	}
	return e
}

func numbers(off *bowrollv1.Takeoff) Numbers {
	n := Numbers{RunM: off.RunM, RequiredRunM: off.RequiredRunM, AvailableM: off.AvailableM, MarginM: off.MarginM}
	if p := off.GetPolicy(); p != nil {
		n.RunFactor = p.RunFactor
	}
	if r := off.GetRoll(); r != nil && r.GetLiftsOff() {
		n.RotateMPS, n.RotateDistanceM, n.RotateS = r.LiftoffAirspeedMps, r.DistanceM, r.TimeS
	}
	if c := off.GetClimb(); c != nil {
		n.BurnEndMinusLiftoffS = c.BurnEndMinusLiftoffS
		n.GradientWithBoosters, n.GradientWithoutBooster = c.GradientWithBoosters, c.GradientWithoutBoosters
	}
	if c := off.GetChance(); c != nil {
		n.RunP50M, n.RunPercentileM, n.Percentile, n.Probability = c.RunP50M, c.RunPercentileM, &c.Percentile, &c.Probability
	}
	return n
}

func cue(off *bowrollv1.Takeoff) *Cue {
	f := off.GetFiring()
	if f == nil {
		return nil
	}
	c := &Cue{ReactionS: f.ReactionS, TimeS: f.DelayS}
	if q := f.GetCue(); q != nil {
		c.OnBrakes, c.AirspeedMPS, c.CreditedMPS, c.DistanceM = q.GetOnBrakes(), q.AirspeedMps, q.CreditedAirspeedMps, q.DistanceM
	}
	if b := off.GetBestFiring(); b != nil {
		c.EarlyM, c.LateM = b.HalfSecondEarlyM, b.HalfSecondLateM
	}
	if p := off.GetPlannedFiring(); p != nil {
		c.EarlyM, c.LateM = p.HalfSecondEarlyM, p.HalfSecondLateM
	}
	return c
}

func check(off *bowrollv1.Takeoff) *Check {
	l := off.GetCheckLine()
	if l == nil || !l.GetReached() {
		return nil
	}
	return &Check{MarkM: l.GetMarkM(), ExpectedS: l.TimeS, ExpectedMPS: l.AirspeedMps, LeastMPS: l.LeastAirspeedMps, LatestS: l.LatestTimeS, StopFits: l.StopFits}
}

func commit(off *bowrollv1.Takeoff) *Commit {
	c := off.GetCommit()
	if c == nil {
		return nil
	}
	return &Commit{Lit: lastMoment(c.GetLit()), Unlit: lastMoment(c.GetUnlit())}
}

func lastMoment(p *bowrollv1.CommitPoint) *Last {
	if p == nil {
		return nil
	}
	return &Last{Exists: p.GetExists(), ToLiftoff: p.GetToLiftoff(), TimeS: p.TimeS, DistanceM: p.DistanceM, AirspeedMPS: p.AirspeedMps}
}

func zones(s Sources) Zones {
	z := Zones{}
	if k := s.Takeoff.GetKeepClear(); k != nil {
		z.KeepClearM, z.KeepClearBasis = &k.DistanceM, "tested"
		if k.GetBasis() != bowrollv1.KeepClearBasis_KEEP_CLEAR_BASIS_TESTED {
			z.KeepClearBasis = "ESTIMATE"
		}
	}
	if d := s.Takeoff.GetDropZone(); d != nil {
		near, far := d.GetCentreAlongM()-d.GetSemiAlongM(), d.GetCentreAlongM()+d.GetSemiAlongM()
		z.Drop = &Drop{TrackDeg: d.TrackDeg, NearM: near, FarM: far, LeftM: d.GetCentreAcrossM() - d.GetSemiAcrossM(),
			RightM: d.GetCentreAcrossM() + d.GetSemiAcrossM(), ClearS: d.GetClearS()}
	}
	for _, d := range s.Launch.GetDraws() {
		b := s.Boosters[d.GetLot()]
		if b == nil {
			continue
		}
		z.MisfireWaitS = greater(z.MisfireWaitS, b.MisfireWaitS) // the longest of the types fitted
	}
	return z
}

func greater(a, b *float64) *float64 {
	if a == nil || b != nil && *b > *a {
		return b
	}
	return a
}

// cautions are those of the launch, and those of the plan that name it or no
// sortie at all.
func cautions(s Sources) []Caution {
	var list []*bowrollv1.Caution
	known := map[string]bool{}
	for _, c := range s.Takeoff.GetCautions() {
		list, known[c.GetId()] = append(list, c), true
	}
	for _, c := range s.Plan.GetCautions() {
		if !known[c.GetId()] && concerns(s, c.GetText()) {
			list = append(list, c)
		}
	}
	slices.SortStableFunc(list, func(a, b *bowrollv1.Caution) int { return cmp.Compare(b.GetSeverity(), a.GetSeverity()) })
	cards := []Caution{}
	for _, c := range list {
		cards = append(cards, Caution{id: c.GetId(), Severity: severityWord(c.GetSeverity()), Text: c.GetText()})
	}
	return cards
}

func severityWord(s bowrollv1.Severity) string {
	return strings.ToLower(strings.TrimPrefix(s.String(), "SEVERITY_"))
}

// concerns reports whether a caution of the plan is about this launch: it names
// it, or no sortie.
func concerns(s Sources, text string) bool {
	named := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' || r == ':' || r == '.' })
	if slices.Contains(named, s.Launch.GetSortie()) {
		return true
	}
	return !slices.ContainsFunc(s.Cycle.GetSorties(), func(o *bowrollv1.Sortie) bool { return slices.Contains(named, o.GetId()) })
}
