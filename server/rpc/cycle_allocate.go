package rpc

import (
	"context"
	"math"
	"slices"
	"strconv"
	"time"

	"google.golang.org/grpc/codes"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// A queue is the allocation of one cycle, or of those of a fleet together, with
// the way back from its fits.
type queue struct {
	problem allocate.Problem
	parts   []*part
	// reserves are the sites that a reserve is sized for, one for each type.
	reserves []sizedReserve
}

// A part is one cycle of a queue.
type part struct {
	rc     *resolvedCycle
	fits   [][]*cycleFit // all fits of each sortie
	usable [][]int       // index into fits for each fit of the problem's sortie
	first  int           // index of its first sortie in the problem
	site   int           // index of its site
	lots   []int         // index in the problem of each lot of rc
	ahead  int64         // seconds from the queue's start to the cycle's
	prefix string        // before the names of sorties and groups
}

// A sizedReserve is the spares of one booster type of a queue's only cycle.
type sizedReserve struct {
	kind *bowrollv1.BoosterType
	lots []int // of the type
	site int   // that stands for the type
}

// alone is the queue of one cycle.
func alone(rc *resolvedCycle, fits [][]*cycleFit) *queue {
	q := &queue{}
	p := &part{rc: rc, fits: fits}
	q.problem.Sites = []allocate.Site{rc.siteOf(siteName(rc.cycle.GetDeck()))}
	for i := range rc.lots {
		p.lots = append(p.lots, q.addLot(&rc.lots[i], 0))
	}
	q.rank([]*resolvedCycle{rc}, nil)
	q.sizeReserves(rc)
	q.addSorties(p)
	return q
}

// siteOf is the site of a cycle. Times are whole seconds: what crews need is
// rounded up, what they have is rounded down.
func (rc *resolvedCycle) siteOf(name string) allocate.Site {
	site := allocate.Site{ID: name, Reserve: int(rc.cycle.GetReserveCount())}
	if crews := rc.cycle.GetCrews(); crews != nil {
		least := int64(math.Ceil(crews.GetHoldLeastS()))
		site.Crews = &allocate.Crews{
			Teams:    int(crews.GetTeamCount()),
			UnitS:    int64(math.Ceil(crews.GetFitTimeS())),
			HoldMinS: least,
			HoldMaxS: max(least, int64(math.Floor(crews.GetHoldGreatestS()))),
		}
	}
	return site
}

func (q *queue) addLot(lot *resolvedLot, site int) int {
	available := lot.available
	if lot.barred != "" {
		available = 0 // the reserve of a site is not made of what may not be used
	}
	q.problem.Lots = append(q.problem.Lots, allocate.Lot{ID: lot.lot.GetId(), Site: site, Available: available})
	return len(q.problem.Lots) - 1
}

// rank orders the lots by expiry, the earliest 0; lots that expire together rank
// alike.
func (q *queue) rank(cycles []*resolvedCycle, pools [][]resolvedLot) {
	var expire []time.Time
	for _, rc := range cycles {
		for i := range rc.lots {
			if !rc.lots[i].borrowed {
				expire = append(expire, rc.lots[i].expire)
			}
		}
	}
	for _, lots := range pools {
		for i := range lots {
			expire = append(expire, lots[i].expire)
		}
	}
	order := make([]int, len(expire))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return expire[a].Compare(expire[b]) })
	for k, i := range order {
		if k > 0 && expire[i].Equal(expire[order[k-1]]) {
			q.problem.Lots[i].ExpiryRank = q.problem.Lots[order[k-1]].ExpiryRank
		} else {
			q.problem.Lots[i].ExpiryRank = k
		}
	}
}

// sizeReserves gives each booster type a site of its own that its lots lie at,
// from where they may go to the deck without limit: so the spares of a type can be
// any of its units, but of no other type.
func (q *queue) sizeReserves(rc *resolvedCycle) {
	if rc.cycle.ReserveProbability == nil {
		return
	}
	for i := range rc.lots {
		if !rc.firstOfKind(i) {
			continue
		}
		r := sizedReserve{kind: rc.lots[i].lot.GetType(), site: len(q.problem.Sites)}
		held := 0
		for j := range rc.lots {
			if rc.lots[j].kind == rc.lots[i].kind {
				r.lots = append(r.lots, j)
				q.problem.Lots[j].Site = r.site
				held += q.problem.Lots[j].Available
			}
		}
		q.problem.Sites = append(q.problem.Sites, allocate.Site{ID: r.kind.GetName() + strconv.Itoa(i)})
		q.problem.Transfers = append(q.problem.Transfers, allocate.Transfer{
			From: r.site, To: 0, Lot: -1, MaxUnits: held, ArriveS: -allocate.MaxTimeS,
		})
		q.reserves = append(q.reserves, r)
	}
}

// addSorties adds the sorties of a cycle with what they can be launched with.
func (q *queue) addSorties(p *part) {
	rc := p.rc
	p.first = len(q.problem.Sorties)
	p.usable = make([][]int, len(p.fits))
	q.problem.Groups = append(q.problem.Groups, rc.spotGroups(p.prefix, p.ahead)...)
	for i, s := range rc.sorties {
		sortie := allocate.Sortie{
			ID: p.prefix + s.sortie.GetId(), Site: p.site, Priority: int(s.sortie.GetPriority()),
			LaunchS: int64(math.Floor(s.sortie.GetLaunchS())) + p.ahead,
		}
		if s.sortie.GetGroup() != "" {
			sortie.Group, sortie.Spot = p.prefix+s.sortie.GetGroup(), s.sortie.GetSpot()
			sortie.HalfSpanMM = int64(math.Ceil(s.sortie.GetAircraft().GetSpanM() * 500))
		}
		for j, fit := range p.fits[i] {
			if !fit.usable() || !rc.opens(fit.place) || !q.inStock(p, fit) {
				continue
			}
			f := allocate.Fit{ID: strconv.Itoa(j), Draws: p.draws(fit), MarginMM: int64(math.Floor(fit.a.MarginM * 1000))}
			if sortie.Group != "" {
				f.Spot = fit.place.spot
			}
			sortie.Fits = append(sortie.Fits, f)
			p.usable[i] = append(p.usable[i], j)
		}
		q.problem.Sorties = append(q.problem.Sorties, sortie)
	}
	q.parts = append(q.parts, p)
}

// opens tells whether the launch window is open for a place.
func (rc *resolvedCycle) opens(p *place) bool {
	w := rc.cycle.GetLaunchWindow()
	return (w == nil || w.FromS == nil || p.launchS >= w.GetFromS()) && (w == nil || w.UntilS == nil || p.launchS <= w.GetUntilS())
}

// inStock tells whether the lots hold what a fit draws, if nothing else did.
func (q *queue) inStock(p *part, fit *cycleFit) bool {
	for _, d := range p.draws(fit) {
		if d.Units > q.problem.Lots[d.Lot].Available {
			return false
		}
	}
	return true
}

// draws sums a fit up by lot of the problem.
func (p *part) draws(fit *cycleFit) []allocate.Draw {
	var draws []allocate.Draw
	for _, lot := range fit.lots {
		i := slices.IndexFunc(draws, func(d allocate.Draw) bool { return d.Lot == p.lots[lot] })
		if i < 0 {
			draws = append(draws, allocate.Draw{Lot: p.lots[lot]})
			i = len(draws) - 1
		}
		draws[i].Units++
	}
	return draws
}

// chosen is the fit that the answer gives to a sortie of a part, or nil.
func (p *part) chosen(res *allocate.Result, i int) *cycleFit {
	if c := res.Choices[p.first+i].Fit; c != allocate.Held {
		return p.fits[i][p.usable[i][c]]
	}
	return nil
}

// solve allocates, and sizes the reserves asked for: the fewest spares of each
// type that make good the duds of what is then planned.
func (q *queue) solve(ctx context.Context, o allocate.Options) (*allocate.Result, error) {
	ctx, span := stage(ctx, "allocation")
	defer span.End()
	for {
		res, err := allocate.Solve(ctx, &q.problem, o)
		if err != nil {
			return nil, err // an invalid problem is a fault of ours: the cycle was judged before
		}
		if res.Choices == nil {
			return nil, q.without(ctx, res)
		}
		enough, err := q.keepBack(res)
		if err != nil {
			return nil, err
		}
		if enough {
			return res, nil
		}
	}
}

// keepBack raises each reserve by one unit where the plan asks for more; a plan
// with more kept back uses no more, so that the first reserve that is enough is
// the least.
func (q *queue) keepBack(res *allocate.Result) (enough bool, err error) {
	enough = true
	use := res.LotUse(&q.problem)
	for _, r := range q.reserves {
		used := 0
		for _, l := range r.lots {
			used += use[l]
		}
		spares, err := allocate.ReserveFor(used, r.kind.GetDudProbability(), q.parts[0].rc.cycle.GetReserveProbability())
		if err != nil {
			return false, refusal.Invalid([]*bowrollv1.Violation{{
				Field: q.parts[0].rc.prefix + ".reserve_probability", Value: number(q.parts[0].rc.cycle.GetReserveProbability()), Rule: "reserve",
				Allowed: "less, or a type with fewer duds", Hint: r.kind.GetName() + ": " + err.Error(),
			}})
		}
		if site := &q.problem.Sites[r.site]; site.Reserve < spares {
			site.Reserve++
			enough = false
		}
	}
	return enough, nil
}

// without says why there is no choice at all.
func (q *queue) without(ctx context.Context, res *allocate.Result) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if res.Status == allocate.Infeasible {
		return refusal.Because(codes.FailedPrecondition, "NO_ROOM",
			"the aircraft that stay where they are held cannot all stand on the spots of their groups: let held sorties be struck clear, add spots or take sorties off", nil, nil)
	}
	return refusal.Because(codes.ResourceExhausted, "NODE_LIMIT",
		"the node limit was reached before any plan was found: raise node_limit or leave it out", nil, nil)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
