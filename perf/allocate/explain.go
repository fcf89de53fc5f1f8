package allocate

import (
	"fmt"
	"slices"
	"sort"
)

// A Why explains a result: what each sortie could have had, and what binds.
type Why struct {
	Sorties []SortieWhy
	// Binding are the constraints without room for one more unit (for a spot: for
	// another aircraft), in the order lots, reserves, transfers, spots, crews.
	Binding []Binding
}

// A SortieWhy is what became of the fits of one sortie.
type SortieWhy struct {
	Sortie int
	Fits   []FitWhy
}

// A FitWhy says whether a sortie could change to a fit (or be launched with it)
// while everything else stays as it is.
type FitWhy struct {
	Fit    int
	Chosen bool
	// Never: no plan at all can use it ("stock", "transfer", "crews", "spot"),
	// whatever the others give up. Empty if one could.
	Never string
	// Lacking are the constraints that stand against it now, empty if none does:
	// then it is usable, but the objective prefers the choice made.
	Lacking []Shortage
}

// A Shortage is a constraint that a change would break.
type Shortage struct {
	Binding
	// Short by so many units (for a spot: aircraft).
	Short int64
}

// A Binding is one constraint of the problem.
type Binding struct {
	Kind string // "lot", "reserve", "transfer", "spot" or "crews"
	// ID of the lot, the site (reserve, crews) or the spot; for a transfer its
	// index.
	ID string
	// FromS and ToS are the launch times of a crew window.
	FromS, ToS int64
}

func (b Binding) String() string {
	if b.Kind == "crews" {
		return fmt.Sprintf("crews %s, launches %d to %d s", b.ID, b.FromS, b.ToS)
	}
	return b.Kind + " " + b.ID
}

// Explain explains a result. It looks at one sortie at a time; what more stock or
// more crews would bring to the whole plan is found by [Worth].
func Explain(p *Problem, r *Result) (*Why, error) {
	if found := Validate(p); found != nil {
		return nil, &InvalidError{found}
	}
	if broken := Check(p, r.Choices); broken != nil {
		return nil, fmt.Errorf("allocate: the result does not fit the problem: %s", broken[0])
	}
	u := newRoom(p, r.Choices)
	w := &Why{Binding: u.binding()}
	m := newModel(p, false)
	for i := range p.Sorties {
		sw := SortieWhy{Sortie: i}
		u.move(i, r.Choices[i], -1)
		for f := range p.Sorties[i].Fits {
			fw := FitWhy{Fit: f, Chosen: f == r.Choices[i].Fit}
			fit := &p.Sorties[i].Fits[f]
			g := p.group(p.Sorties[i].Group)
			if g != nil && !g.spot(fit.Spot).takes(p.Sorties[i].ID) {
				fw.Never = "spot"
			} else {
				fw.Never = m.obstacle(p.Sorties[i].Site, fit, p.launchS(i, fit.Spot))
			}
			if !fw.Chosen {
				fw.Lacking = u.shortages(i, f)
			}
			sw.Fits = append(sw.Fits, fw)
		}
		u.move(i, r.Choices[i], 1)
		w.Sorties = append(w.Sorties, sw)
	}
	return w, nil
}

// A room keeps count of what choices leave.
type room struct {
	p       *Problem
	lots    []int64 // units left in each lot, its reserve taken off
	left    []int64 // units left at each site, its reserve taken off
	carry   []int64 // units that each transfer can still bring
	spots   map[[2]string]int
	fitted  []map[int64]int64 // by site and launch time
	choices []Choice
}

func newRoom(p *Problem, choices []Choice) *room {
	u := &room{p: p, spots: map[[2]string]int{}, choices: choices}
	u.left = make([]int64, len(p.sites()))
	for l := range p.Lots {
		lot := &p.Lots[l]
		u.lots = append(u.lots, int64(lot.Available-lot.Reserve))
		u.left[lot.Site] += int64(lot.Available)
	}
	for k, s := range p.sites() {
		u.left[k] -= int64(s.Reserve)
		u.fitted = append(u.fitted, map[int64]int64{})
	}
	for t := range p.Transfers {
		u.carry = append(u.carry, int64(p.Transfers[t].MaxUnits))
	}
	for i, c := range choices {
		u.move(i, c, 1)
	}
	return u
}

// move puts a choice in (sign 1) or takes it out (sign -1).
func (u *room) move(i int, c Choice, sign int64) {
	s := &u.p.Sorties[i]
	if c.Spot != "" {
		u.spots[[2]string{s.Group, c.Spot}] += int(sign)
	}
	if c.Fit == Held {
		return
	}
	f := &s.Fits[c.Fit]
	at := u.p.launchS(i, f.Spot)
	u.fitted[s.Site][at] += sign * int64(f.Units())
	for _, d := range f.Draws {
		n := sign * int64(d.Units)
		u.lots[d.Lot] -= n
		u.left[u.p.Lots[d.Lot].Site] -= n
		if u.p.Lots[d.Lot].Site != s.Site {
			u.carry[u.p.transfer(d.Lot, s.Site, at)] -= n
		}
	}
}

// shortages lists what fit f of sortie i would break; the sortie's own choice has
// been moved out.
func (u *room) shortages(i, f int) []Shortage {
	p, s := u.p, &u.p.Sorties[i]
	fit := &s.Fits[f]
	at := p.launchS(i, fit.Spot)
	var out []Shortage
	short := func(b Binding, by int64) {
		if by > 0 {
			out = append(out, Shortage{b, by})
		}
	}
	bySite := make([]int64, len(u.left))
	byWay := make([]int64, len(u.carry))
	for _, d := range fit.Draws {
		lot := &p.Lots[d.Lot]
		short(Binding{Kind: "lot", ID: lot.ID}, int64(d.Units)-u.lots[d.Lot])
		bySite[lot.Site] += int64(d.Units)
		if lot.Site == s.Site {
			continue
		}
		if t := p.transfer(d.Lot, s.Site, at); t >= 0 {
			byWay[t] += int64(d.Units)
		} else {
			short(Binding{Kind: "transfer", ID: "none"}, int64(d.Units))
		}
	}
	for k, n := range bySite {
		if n > 0 && p.sites()[k].Reserve > 0 {
			short(Binding{Kind: "reserve", ID: p.sites()[k].ID}, n-u.left[k])
		}
	}
	for t, n := range byWay {
		if n > 0 {
			short(Binding{Kind: "transfer", ID: fmt.Sprint(t)}, n-u.carry[t])
		}
	}
	if s.Group != "" {
		short(Binding{Kind: "spot", ID: fit.Spot}, int64(u.spots[[2]string{s.Group, fit.Spot}]))
	}
	if n := int64(fit.Units()); n > 0 {
		if b, spare, ok := u.tightest(s.Site, at); ok {
			short(b, n-spare)
		}
	}
	return out
}

// tightest is the crew window around a launch time with the fewest units to spare:
// of K (t_b - hold_min - t_a + hold_max) / p less the units fitted from t_a to t_b.
// Both ends can be chosen apart, so that one pass over the times does.
func (u *room) tightest(site int, at int64) (Binding, int64, bool) {
	c := u.p.sites()[site].Crews
	if c == nil {
		return Binding{}, 0, false
	}
	times := make([]int64, 0, len(u.fitted[site])+1)
	for t, n := range u.fitted[site] {
		if n > 0 && t != at {
			times = append(times, t)
		}
	}
	times = append(times, at)
	slices.Sort(times)
	k, p := int64(c.Teams), c.UnitS
	var from, to, head, tail, sum int64
	begun, ended := false, false
	for _, t := range times {
		// Up to the window, sum counts the units before it; from there on, those to its end.
		if v := p*sum - k*t; t <= at && (!begun || v < head) {
			begun, head, from = true, v, t
		}
		sum += u.fitted[site][t]
		if v := k*t - p*sum; t >= at && (!ended || v < tail) {
			ended, tail, to = true, v, t
		}
	}
	time := head + tail + k*(c.HoldMaxS-c.HoldMinS)
	spare := time / p
	if time%p < 0 {
		spare--
	}
	return Binding{"crews", u.p.sites()[site].ID, from, to}, spare, true
}

// binding lists the constraints that are used up.
func (u *room) binding() []Binding {
	var out []Binding
	for l, n := range u.lots {
		if n <= 0 && u.p.Lots[l].Available > 0 {
			out = append(out, Binding{Kind: "lot", ID: u.p.Lots[l].ID})
		}
	}
	for k, n := range u.left {
		if n <= 0 && u.p.sites()[k].Reserve > 0 {
			out = append(out, Binding{Kind: "reserve", ID: u.p.sites()[k].ID})
		}
	}
	for t, n := range u.carry {
		if n <= 0 {
			out = append(out, Binding{Kind: "transfer", ID: fmt.Sprint(t)})
		}
	}
	for g := range u.p.Groups {
		for s := range u.p.Groups[g].Spots {
			id := u.p.Groups[g].Spots[s].ID
			if u.spots[[2]string{u.p.Groups[g].ID, id}] > 0 {
				out = append(out, Binding{Kind: "spot", ID: id})
			}
		}
	}
	for k, site := range u.p.sites() {
		if site.Crews == nil {
			continue
		}
		seen := map[Binding]bool{}
		var times []int64
		for t := range u.fitted[k] {
			times = append(times, t)
		}
		sort.Slice(times, func(a, b int) bool { return times[a] < times[b] })
		for _, t := range times {
			if b, spare, _ := u.tightest(k, t); spare < 1 && !seen[b] {
				seen[b] = true
				out = append(out, b)
			}
		}
	}
	return out
}
