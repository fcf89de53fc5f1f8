package sheet

import (
	"cmp"
	"slices"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A warned is a caution and the sorties that raise it; none where the whole
// answer does.
type warned struct {
	caution *bowrollv1.Caution
	sorties []string
}

// gather collects the cautions of a plan and of its launches, the most serious
// first; one that several launches raise alike is said once, and one that the
// plan itself says of its launches is not said again of each.
func gather(plan *bowrollv1.CyclePlan) []warned {
	var list []warned
	add := func(c *bowrollv1.Caution, sortie string) {
		for i, known := range list {
			if known.caution.GetId() == c.GetId() && known.caution.GetText() == c.GetText() {
				if sortie != "" && len(known.sorties) > 0 {
					list[i].sorties = append(known.sorties, sortie)
				}
				return
			}
		}
		w := warned{caution: c}
		if sortie != "" {
			w.sorties = []string{sortie}
		}
		list = append(list, w)
	}
	said := map[string]bool{}
	for _, c := range plan.GetCautions() {
		said[c.GetId()] = true
		add(c, "")
	}
	for _, l := range plan.GetLaunches() {
		for _, c := range l.GetTakeoff().GetCautions() {
			if !said[c.GetId()] {
				add(c, l.GetSortie())
			}
		}
	}
	return bySeverity(list)
}

// alone makes a list of cautions that the whole answer raises.
func alone(cautions []*bowrollv1.Caution) []warned {
	var list []warned
	for _, c := range cautions {
		list = append(list, warned{caution: c})
	}
	return bySeverity(list)
}

func bySeverity(list []warned) []warned {
	slices.SortStableFunc(list, func(a, b warned) int {
		return cmp.Compare(b.caution.GetSeverity(), a.caution.GetSeverity())
	})
	return list
}

// without leaves one severity out.
func without(list []warned, severity bowrollv1.Severity) []warned {
	return slices.DeleteFunc(slices.Clone(list), func(w warned) bool { return w.caution.GetSeverity() == severity })
}

// warnings draws what puts life or aircraft at risk, before anything else.
func (p *page) warnings(list []warned) {
	list = slices.DeleteFunc(slices.Clone(list), func(w warned) bool {
		return w.caution.GetSeverity() != bowrollv1.Severity_SEVERITY_WARNING
	})
	p.cautions("", list)
}

// cautions draws a list of cautions. The heading may be empty: each says how
// serious it is.
func (p *page) cautions(heading string, list []warned) {
	if len(list) == 0 {
		return
	}
	p.heading(heading, "")
	for _, w := range list {
		label, tone := severity(w.caution.GetSeverity())
		text := w.caution.GetText()
		if len(w.sorties) > 0 {
			text = strings.Join(w.sorties, ", ") + ": " + text
		}
		p.labelled(tone, label, tonePlain, text, 9)
	}
}

// notice is said under every result.
const notice = "Results advise. The approved flight manual, the ordnance instructions for the unit, local codes and the officers and licensed people responsible decide."

// provenance says what the answer was computed from.
func (p *page) provenance(from *bowrollv1.Provenance) {
	p.gap()
	p.paragraph(tonePlain, notice, 0)
	if from != nil {
		p.paragraph(toneQuiet, strings.Join([]string{"Model " + from.GetModelVersion(),
			"catalog " + from.GetCatalogRevision(), "request " + from.GetRequestDigest()}, ", "), 0)
	}
}
