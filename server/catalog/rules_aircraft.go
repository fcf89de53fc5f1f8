package catalog

import (
	"fmt"
	"strconv"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// violations collects what a rule finds.
type violations []*bowrollv1.Violation

func (vs *violations) add(field, value, rule, allowed, hint string) {
	*vs = append(*vs, &bowrollv1.Violation{Field: field, Value: value, Rule: rule, Allowed: allowed, Hint: hint})
}

func figure(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

func element(list string, i int, field string) string {
	return list + "[" + strconv.Itoa(i) + "]" + field
}

// CheckAircraftType returns what is wrong between the fields of an aircraft
// type, each field by itself being as the contract asks. Paths are relative to
// the type. Absent fields break no rule here.
func CheckAircraftType(t *bowrollv1.AircraftType) []*bowrollv1.Violation {
	var vs violations
	checkFlaps(&vs, t.GetFlaps())
	if t.GetThrust() != nil {
		checkThrust(&vs, t.GetThrust())
	}
	if t.LeastMassKg != nil && t.GreatestMassKg != nil && t.GetLeastMassKg() > t.GetGreatestMassKg() {
		vs.add("greatest_mass_kg", figure(t.GetGreatestMassKg()), "order", "at least least_mass_kg, "+figure(t.GetLeastMassKg()), "")
	}
	stations := checkStations(&vs, t.GetStations())
	checkLoadings(&vs, t.GetLoadings(), stations)
	return vs
}

func checkFlaps(vs *violations, flaps []*bowrollv1.FlapSetting) {
	seen := map[string]bool{}
	for i, f := range flaps {
		if seen[f.GetId()] {
			vs.add(element("flaps", i, ".id"), f.GetId(), "unique", "unlike the ids before it", "")
		}
		seen[f.GetId()] = true
		if f.ClRoll != nil && f.ClMax != nil && f.GetClRoll() > f.GetClMax() {
			vs.add(element("flaps", i, ".cl_roll"), figure(f.GetClRoll()), "order", "at most cl_max, "+figure(f.GetClMax()), "")
		}
	}
}

func checkThrust(vs *violations, t *bowrollv1.ThrustTable) {
	speeds := t.GetAirspeedMps()
	if len(speeds) != len(t.GetThrustN()) {
		vs.add("thrust.thrust_n", fmt.Sprintf("%d values", len(t.GetThrustN())), "length",
			fmt.Sprintf("as many as airspeed_mps has, %d", len(speeds)), "")
	}
	for i := 1; i < len(speeds); i++ {
		if speeds[i] <= speeds[i-1] {
			vs.add(element("thrust.airspeed_mps", i, ""), figure(speeds[i]), "order", "above the one before it, "+figure(speeds[i-1]), "")
		}
	}
}

// checkStations returns the stations by id, the first of each.
func checkStations(vs *violations, stations []*bowrollv1.Station) map[string]*bowrollv1.Station {
	byID := map[string]*bowrollv1.Station{}
	for i, s := range stations {
		if byID[s.GetId()] != nil {
			vs.add(element("stations", i, ".id"), s.GetId(), "unique", "unlike the ids before it", "")
		} else {
			byID[s.GetId()] = s
		}
		if s.LateralArmM == nil {
			continue
		}
		centre := s.GetSide() == bowrollv1.Side_SIDE_CENTRE
		if centre && s.GetLateralArmM() != 0 {
			vs.add(element("stations", i, ".lateral_arm_m"), figure(s.GetLateralArmM()), "centre", "0 on the centre line", "")
		}
		if !centre && s.GetSide() != bowrollv1.Side_SIDE_UNSPECIFIED && s.GetLateralArmM() == 0 {
			vs.add(element("stations", i, ".lateral_arm_m"), "0", "centre", "above 0 off the centre line", "or its side SIDE_CENTRE")
		}
	}
	return byID
}

func checkLoadings(vs *violations, loadings []*bowrollv1.Loading, byID map[string]*bowrollv1.Station) {
	counts := map[int32]bool{}
	for i, l := range loadings {
		if counts[l.GetUnitCount()] {
			vs.add(element("loadings", i, ".unit_count"), strconv.Itoa(int(l.GetUnitCount())), "unique", "unlike the counts before it", "")
		}
		counts[l.GetUnitCount()] = true
		if l.UnitCount != nil && int(l.GetUnitCount()) != len(l.GetStations()) {
			vs.add(element("loadings", i, ".stations"), fmt.Sprintf("%d stations", len(l.GetStations())), "length",
				fmt.Sprintf("as many as unit_count, %d", l.GetUnitCount()), "")
		}
		checkMirrors(vs, i, l, byID)
	}
}

// checkMirrors finds stations of a loading that do not exist, stand twice, or
// have no mirror image beside them: an uneven fit yaws the aircraft by design.
func checkMirrors(vs *violations, i int, l *bowrollv1.Loading, byID map[string]*bowrollv1.Station) {
	used := map[string]bool{}
	for j, id := range l.GetStations() {
		path := element("loadings", i, element(".stations", j, ""))
		switch {
		case byID[id] == nil:
			vs.add(path, strconv.Quote(id), "reference", "the id of one of this type's stations", "")
		case used[id]:
			vs.add(path, id, "unique", "unlike the stations before it", "")
		}
		used[id] = true
	}
	for j, id := range l.GetStations() {
		s := byID[id]
		if s == nil || s.LateralArmM == nil || s.AftArmM == nil ||
			(s.GetSide() != bowrollv1.Side_SIDE_PORT && s.GetSide() != bowrollv1.Side_SIDE_STARBOARD) {
			continue
		}
		matched := false
		for other := range used {
			o := byID[other]
			matched = matched || (o != nil && o.GetSide() == opposite(s.GetSide()) &&
				o.GetLateralArmM() == s.GetLateralArmM() && o.GetAftArmM() == s.GetAftArmM())
		}
		if !matched {
			vs.add(element("loadings", i, element(".stations", j, "")), id, "mirror",
				"beside its mirror image: a station on the other side with the same lateral_arm_m and aft_arm_m", "")
		}
	}
}

func opposite(s bowrollv1.Side) bowrollv1.Side {
	if s == bowrollv1.Side_SIDE_PORT {
		return bowrollv1.Side_SIDE_STARBOARD
	}
	return bowrollv1.Side_SIDE_PORT
}
