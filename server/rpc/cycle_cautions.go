package rpc

import (
	"slices"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// cautions gathers those of the launches, each once, and those of the cycle.
func (p *planner) cautions(out *bowrollv1.CyclePlan) []*bowrollv1.Caution {
	var list []*bowrollv1.Caution
	raised := map[string][]string{}
	for _, l := range out.Launches {
		for _, c := range l.GetTakeoff().GetCautions() {
			if raised[c.GetId()] == nil {
				list = append(list, proto.CloneOf(c))
			}
			raised[c.GetId()] = append(raised[c.GetId()], l.GetSortie())
		}
	}
	for _, c := range list {
		c.Text = cycleCaution(c, raised[c.GetId()])
	}
	caution := func(id, text string) {
		list = append(list, &bowrollv1.Caution{Id: id, Severity: bowrollv1.Severity_SEVERITY_CAUTION, Text: text})
	}
	if !out.Optimal {
		caution("not-proven", "The search ended at its limit: a better plan may exist; the bound says how much better.")
	}
	if out.Timeline != nil {
		for _, c := range timelineCautions(out.Timeline) {
			caution(c.id, c.text)
		}
	}
	if p.rc.narrowed {
		list = append(list, &bowrollv1.Caution{
			Id: "mixtures-limited", Severity: bowrollv1.Severity_SEVERITY_NOTE,
			Text: "There are more mixtures of lots than are tried: a plan that mixes more lots on one aircraft is not excluded.",
		})
	}
	slices.SortStableFunc(list, func(x, y *bowrollv1.Caution) int { return int(y.GetSeverity()) - int(x.GetSeverity()) })
	return list
}

// mostNamed is how many sorties a caution names.
const mostNamed = 40

// cycleCaution names the sorties that raise a caution.
func cycleCaution(c *bowrollv1.Caution, sorties []string) string {
	if len(sorties) == 1 {
		return sorties[0] + ": " + c.GetText()
	}
	names := ""
	for i, s := range sorties {
		if i == mostNamed {
			names += " and " + number(float64(len(sorties)-i)) + " more"
			break
		}
		if i > 0 {
			names += ", "
		}
		names += s
	}
	if text, ok := general[c.GetId()]; ok {
		return names + ": " + text
	}
	return names + ": " + c.GetText()
}

// general words cautions for several sorties at once, without the numbers of one.
var general = map[string]string{
	"failure-not-covered":     "a single failure has no way out that the policy accepts.",
	"no-climb-after-burn-out": "without booster thrust the aircraft does not climb.",
	"brakes-may-not-hold":     "the brakes do not hold the thrust before release: the aircraft creeps.",
	"burn-out-in-rotation":    "boosters end close to lift-off: expect the thrust to fall away during rotation.",
	"outside-stowage-limits":  "units outside their stowage limits.",
	"near-relief-pressure":    "chamber pressure near the relief pressure.",
	"failures-not-all-judged": "the booster type does not state all that is needed to judge every failure.",
	"no-brake-data":           "no braking friction is stated: no stop leg is relied on.",
	"tailwind":                "the run is planned on a tailwind.",
	"firing-is-a-cliff":       "the firing is the nominal best: commanded a little early the run is far longer.",
}
