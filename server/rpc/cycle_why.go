package rpc

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// explain explains a result on the problem with every usable fit in it, those too
// that ask for more than a lot ever had: more units are a release as well.
func (q *queue) explain(res *allocate.Result) (*allocate.Why, error) {
	full := q.problem
	full.Sorties = slices.Clone(q.problem.Sorties)
	for _, p := range q.parts {
		for i := range p.fits {
			s := &full.Sorties[p.first+i]
			s.Fits = slices.Clone(s.Fits)
			for _, j := range p.beyond(q, i) {
				f := allocate.Fit{ID: "beyond " + strconv.Itoa(j), Draws: p.draws(p.fits[i][j])}
				if s.Group != "" {
					f.Spot = p.fits[i][j].place.spot
				}
				s.Fits = append(s.Fits, f)
			}
		}
	}
	return allocate.Explain(&full, res)
}

// beyond lists the fits of a sortie that are usable but for stock that no plan has.
func (p *part) beyond(q *queue, i int) []int {
	var list []int
	for j, fit := range p.fits[i] {
		if fit.usable() && p.rc.opens(fit.place) && !q.inStock(p, fit) {
			list = append(list, j)
		}
	}
	return list
}

// fitWhy maps the fits of a sortie to what the explanation says of them.
func (p *planner) fitWhy(i int) map[*cycleFit]*allocate.FitWhy {
	known := map[*cycleFit]*allocate.FitWhy{}
	listed := append(slices.Clone(p.part.usable[i]), p.part.beyond(p.q, i)...)
	fits := p.why.Sorties[p.part.first+i].Fits
	for k, j := range listed {
		known[p.part.fits[i][j]] = &fits[k]
	}
	return known
}

// options lists what a sortie could have had, where it is asked for.
func (p *planner) options(i int) []*bowrollv1.FitOption {
	if !p.includeOptions {
		return nil
	}
	why := p.fitWhy(i)
	list := make([]*bowrollv1.FitOption, 0, len(p.part.fits[i]))
	for _, fit := range p.part.fits[i] {
		list = append(list, p.option(i, fit, why[fit]))
	}
	return list
}

// option is one fit of a sortie.
func (p *planner) option(i int, fit *cycleFit, why *allocate.FitWhy) *bowrollv1.FitOption {
	chosen := p.part.chosen(p.res, i)
	return &bowrollv1.FitOption{
		Draws: p.rc.draws(fit), UnitCount: int32(fit.count),
		Usable:       fit.usable() && p.rc.opens(fit.place) && p.q.inStock(p.part, fit),
		Outcome:      outcome(fit.a.Verdict.Outcome()),
		RequiredRunM: finite(fit.a.RequiredM), MarginM: finite(fit.a.MarginM),
		Limiting: limiting(fit.a), Spot: fit.place.spot, Chosen: fit == chosen,
		Reason:      p.reason(fit, chosen, why),
		Probability: proto.Float64(p.chances[fit.a]),
	}
}

// reason says why the plan does not have a fit.
func (p *planner) reason(fit, chosen *cycleFit, why *allocate.FitWhy) string {
	switch {
	case fit == chosen:
		return ""
	case !fit.usable():
		return limiting(fit.a)
	case !p.rc.opens(fit.place):
		return "The launch window is shut then."
	case why == nil || len(why.Lacking) == 0 && chosen != nil:
		return "It could be had; the objective prefers what was chosen."
	case len(why.Lacking) == 0:
		return "Others stand where it would have to."
	}
	var parts []string
	for _, s := range why.Lacking {
		parts = append(parts, p.q.lacks(s))
	}
	return upperFirst(strings.Join(parts, ", and ")) + "."
}

// lacks says what a fit is short of, beside everything that is planned.
func (q *queue) lacks(s allocate.Shortage) string {
	n := fmt.Sprintf("%d %s", s.Short, plural(int(s.Short), "unit", "units"))
	switch s.Kind {
	case "lot":
		return s.ID + " is short of " + n
	case "reserve":
		return "the reserve keeps back " + n + " of those it needs"
	case "transfer":
		return "no transfer brings " + n + " more in time"
	case "spot":
		return "another aircraft stands on " + s.ID
	}
	return fmt.Sprintf("the crews lack the time for %s between the launches at %s and %s", n, q.clock(s.FromS), q.clock(s.ToS))
}

// clock is a launch time of the problem as minutes and seconds after the start.
func (q *queue) clock(s int64) string {
	sign := "+"
	if s < 0 {
		sign, s = "-", -s
	}
	return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
}

var bindingKinds = map[string]bowrollv1.BindingKind{
	"lot": bowrollv1.BindingKind_BINDING_KIND_LOT, "reserve": bowrollv1.BindingKind_BINDING_KIND_RESERVE,
	"transfer": bowrollv1.BindingKind_BINDING_KIND_TRANSFER, "spot": bowrollv1.BindingKind_BINDING_KIND_SPOT,
	"crews": bowrollv1.BindingKind_BINDING_KIND_CREWS,
}

// bindings puts what binds into words. The ways by which reserves are sized carry
// what they are given, so they bind nothing of their own.
func (q *queue) bindings(list []allocate.Binding) []*bowrollv1.Binding {
	var out []*bowrollv1.Binding
	for _, b := range list {
		o := &bowrollv1.Binding{Kind: bindingKinds[b.Kind], Id: b.ID}
		switch b.Kind {
		case "lot":
			o.Text = "Every unit of " + b.ID + " that may be used is used."
		case "reserve":
			o.Id = q.reserveName(b.ID)
			o.Text = "No more units of " + o.Id + " are used than the reserve leaves."
		case "transfer":
			if len(q.reserves) > 0 {
				continue
			}
			o.Text = "Transfer " + b.ID + " carries all that it can."
		case "spot":
			o.Text = "Spot " + b.ID + " is taken."
		case "crews":
			o.FromS, o.ToS = proto.Float64(float64(b.FromS)), proto.Float64(float64(b.ToS))
			o.Text = fmt.Sprintf("The crews have no time for another unit between the launches at %s and %s.", q.clock(b.FromS), q.clock(b.ToS))
		}
		out = append(out, o)
	}
	return out
}

// reserveName is what a reserve is kept back of: a booster type, or a site.
func (q *queue) reserveName(id string) string {
	for _, r := range q.reserves {
		if q.problem.Sites[r.site].ID == id {
			return r.kind.GetName()
		}
	}
	return id
}

// held answers one sortie that does not go. near is the take-off that a change of
// its own could make usable, if there is one; see [planner.clears].
func (p *planner) held(i int, near takeoffAnswer) *bowrollv1.HeldSortie {
	s := p.rc.sorties[i]
	out := &bowrollv1.HeldSortie{
		Sortie: s.sortie.GetId(), Order: int32(i + 1), Spot: s.sortie.GetSpot(),
		Priority: s.sortie.GetPriority(), AvailableM: s.base.Available, Options: p.options(i),
	}
	fits := p.part.fits[i]
	usable := func(f *cycleFit) bool { return f.usable() }
	opens := func(f *cycleFit) bool { return f.usable() && p.rc.opens(f.place) }
	switch {
	case len(s.places) == 0:
		out.Reason = bowrollv1.HoldReason_HOLD_REASON_SPOT
		out.Text = "No spot of its group is wide enough for its span of " + number(s.sortie.GetAircraft().GetSpanM()) + " m."
	case slices.ContainsFunc(fits, opens):
		p.wantsMeans(i, out)
	case slices.ContainsFunc(fits, usable):
		out.Reason = bowrollv1.HoldReason_HOLD_REASON_WINDOW
		p.outside(s, out)
	case near.takeoff == nil:
		out.Reason = bowrollv1.HoldReason_HOLD_REASON_NO_USABLE_FIT
		out.Text = "No unit count is permitted for which there are units."
	default:
		out.Reason = bowrollv1.HoldReason_HOLD_REASON_NO_USABLE_FIT
		out.Text = near.takeoff.GetLimiting()
	}
	if out.Nearest == nil {
		if fit := nearestFit(fits, func(*cycleFit) bool { return true }); fit != nil {
			out.Nearest = p.option(i, fit, p.fitWhy(i)[fit])
		}
	}
	if out.Reason != bowrollv1.HoldReason_HOLD_REASON_WINDOW {
		out.Releases = append(out.Releases, near.releases...)
	}
	return out
}

// outside says how a sortie misses the launch window.
func (p *planner) outside(s *resolvedSortie, out *bowrollv1.HeldSortie) {
	w := p.rc.cycle.GetLaunchWindow()
	at := s.places[0].launchS
	shift := 0.0
	switch {
	case w.FromS != nil && at < w.GetFromS():
		shift = w.GetFromS() - at
		out.Text = fmt.Sprintf("The launch window opens %.0f s after its launch time.", shift)
	default:
		shift = w.GetUntilS() - at
		out.Text = fmt.Sprintf("The launch window shuts %.0f s before its launch time.", -shift)
	}
	later := "later"
	if shift < 0 {
		later = "earlier"
	}
	out.Releases = []*bowrollv1.Change{{Quantity: "launch_s", Change: shift, Text: fmt.Sprintf("a launch %.0f s %s", math.Abs(shift), later)}}
}

// wantsMeans says what a sortie lacks that has a fit good enough for its run, and
// what alone would launch it beside everything that is planned to go.
func (p *planner) wantsMeans(i int, out *bowrollv1.HeldSortie) {
	why := p.why.Sorties[p.part.first+i]
	best, found := why.Cheapest()
	if !found {
		return
	}
	fit := p.whyFit(i, best.Fit)
	out.Nearest = p.option(i, fit, &best)
	with := "without units"
	if fit.count > 0 {
		with = fmt.Sprintf("with %d %s", fit.count, plural(fit.count, "unit", "units"))
	}
	out.Reason = bowrollv1.HoldReason_HOLD_REASON_SPOT
	out.Text = "It could go " + with + ", but others stand where it would have to."
	if len(best.Lacking) > 0 {
		out.Reason = holdReasons[best.Lacking[0].Kind]
		var parts []string
		for _, s := range best.Lacking {
			parts = append(parts, p.q.lacks(s))
		}
		out.Text = "It could go " + with + ", but " + strings.Join(parts, ", and ") + "."
	}
	out.Releases = p.releases(i, why)
}

var holdReasons = map[string]bowrollv1.HoldReason{
	"lot": bowrollv1.HoldReason_HOLD_REASON_STOCK, "reserve": bowrollv1.HoldReason_HOLD_REASON_RESERVE,
	"transfer": bowrollv1.HoldReason_HOLD_REASON_TRANSFER, "spot": bowrollv1.HoldReason_HOLD_REASON_SPOT,
	"crews": bowrollv1.HoldReason_HOLD_REASON_CREWS,
}

// whyFit is the fit behind one of an explanation.
func (p *planner) whyFit(i, k int) *cycleFit {
	if k < len(p.part.usable[i]) {
		return p.part.fits[i][p.part.usable[i][k]]
	}
	return p.part.fits[i][p.part.beyond(p.q, i)[k-len(p.part.usable[i])]]
}

// releases lists the single changes that launch a sortie beside all that goes,
// the least of each kind; where none alone does, the cheapest set of them.
func (p *planner) releases(i int, why allocate.SortieWhy) []*bowrollv1.Change {
	least := map[string]allocate.Shortage{}
	fitOf := map[string]int{}
	kinds := []string{"lot", "crews", "reserve", "transfer"}
	for k := range why.Fits {
		lacking := why.Fits[k].Lacking
		if len(lacking) != 1 {
			continue
		}
		s := lacking[0]
		if l, ok := least[s.Kind]; !ok || s.Short < l.Short {
			least[s.Kind], fitOf[s.Kind] = s, k
		}
	}
	var list []*bowrollv1.Change
	for _, kind := range kinds {
		if s, ok := least[kind]; ok {
			if c := p.release1(i, s, why.Fits[fitOf[kind]].Fit); c != nil {
				list = append(list, c)
			}
		}
	}
	if len(list) > 0 {
		return list
	}
	best, ok := why.Cheapest()
	if !ok || len(best.Lacking) == 0 {
		return nil
	}
	var parts []string
	units := int64(0)
	for _, s := range best.Lacking {
		if c := p.release1(i, s, best.Fit); c != nil {
			parts = append(parts, c.GetText())
			if s.Kind == "lot" {
				units += s.Short
			}
		}
	}
	if parts == nil {
		return nil
	}
	return []*bowrollv1.Change{{Quantity: "unit_count", Change: float64(units), Text: strings.Join(parts, " and ")}}
}

// release1 is the change that makes one shortage good, or nil.
func (p *planner) release1(i int, s allocate.Shortage, fit int) *bowrollv1.Change {
	n := int(s.Short)
	units := plural(n, "unit", "units")
	switch s.Kind {
	case "lot":
		return &bowrollv1.Change{Quantity: "unit_count", Change: float64(n), Text: fmt.Sprintf("%d more %s of %s", n, units, s.ID)}
	case "reserve":
		return &bowrollv1.Change{Quantity: "reserve_count", Change: -float64(n), Text: fmt.Sprintf("%d fewer %s kept back", n, units)}
	case "transfer":
		return &bowrollv1.Change{Quantity: "most_count", Change: float64(n), Text: fmt.Sprintf("a transfer that brings %d more %s in time", n, units)}
	case "crews":
		if teams, ok := p.moreTeams(i, fit); ok {
			return &bowrollv1.Change{Quantity: "team_count", Change: float64(teams), Text: fmt.Sprintf("%d more fitting %s", teams, plural(teams, "team", "teams"))}
		}
	}
	return nil
}

// moreTeams is the least number of further teams with which the sortie could go
// beside everything planned, by trial; stock is not looked at.
func (p *planner) moreTeams(i, fit int) (int, bool) {
	f := p.whyFit(i, fit)
	site := p.q.problem.Sites[p.part.site]
	if site.Crews == nil {
		return 0, false
	}
	choices := slices.Clone(p.res.Choices)
	more := p.q.problem
	more.Lots = slices.Clone(more.Lots)
	for k := range more.Lots {
		more.Lots[k].Available += f.count
	}
	more.Sorties = slices.Clone(more.Sorties)
	s := &more.Sorties[p.part.first+i]
	s.Fits = append(slices.Clone(s.Fits), allocate.Fit{ID: "tried", Draws: p.part.draws(f)})
	if s.Group != "" {
		s.Fits[len(s.Fits)-1].Spot = f.place.spot
	}
	choices[p.part.first+i] = allocate.Choice{Fit: len(s.Fits) - 1, Spot: s.Fits[len(s.Fits)-1].Spot}
	crews := *site.Crews
	site.Crews = &crews
	more.Sites = slices.Clone(more.Sites)
	more.Sites[p.part.site] = site
	const most = 100
	for extra := 1; extra <= most; extra++ {
		crews.Teams++
		if len(allocate.Check(&more, choices)) == 0 {
			return extra, true
		}
	}
	return 0, false
}

// Releases found one sortie at a time leave everything else as it is. With few
// enough sorties each is tried against plans made anew, with a little more of one
// thing: what launches it there for less takes the place.
const (
	mostTried  = 60
	nodesTried = 2000
)

// cheaper looks for releases that need less where the rest of the plan may move.
func (p *planner) cheaper(ctx context.Context, out *bowrollv1.CyclePlan) {
	lacking := slices.ContainsFunc(out.Held, func(h *bowrollv1.HeldSortie) bool {
		return slices.ContainsFunc(h.GetReleases(), func(c *bowrollv1.Change) bool { return c.GetQuantity() == "unit_count" && c.GetChange() > 1 })
	})
	if !lacking || p.res.Status != allocate.Optimal || len(p.q.problem.Sorties) > mostTried || p.res.Nodes > nodesTried || len(p.q.reserves) > 0 {
		return
	}
	for l := range p.part.lots {
		lot := p.part.lots[l]
		if p.rc.lots[l].barred != "" {
			continue
		}
		for units := 1; units <= 2; units++ {
			prices, err := allocate.Worth(ctx, &p.q.problem, p.res, []allocate.Change{allocate.MoreUnits(&p.q.problem, lot, units)}, allocate.Options{Nodes: nodesTried})
			if err != nil || prices[0].Result.Status != allocate.Optimal || len(prices[0].Dropped) > 0 {
				continue
			}
			for _, i := range prices[0].Launched {
				p.cheapen(out, i-p.part.first, units, p.rc.lots[l].lot.GetId())
			}
		}
	}
}

// cheapen puts fewer units into the release of a sortie.
func (p *planner) cheapen(out *bowrollv1.CyclePlan, i, units int, lot string) {
	for _, h := range out.Held {
		if int(h.GetOrder()) != i+1 {
			continue
		}
		for _, c := range h.GetReleases() {
			if c.GetQuantity() == "unit_count" && c.GetChange() > float64(units) {
				c.Change, c.Text = float64(units), fmt.Sprintf("%d more %s of %s, the rest planned anew", units, plural(units, "unit", "units"), lot)
			}
		}
	}
}

func upperFirst(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
