package allocate

// Limits of a problem. Larger ones are refused by [Validate].
const (
	// MarginCapMM caps the run margin of one sortie in the fourth objective:
	// 50 m, in millimetres. More room than that is not worth units or lots.
	MarginCapMM = 50_000

	MaxSorties  = 5_000     // sorties in one problem
	MaxLots     = 500       // lots in one problem
	MaxFits     = 2_000     // fits of one sortie
	MaxUnits    = 1_000_000 // units in one lot, or drawn by one fit
	MaxPriority = 1_000_000 // priority of one sortie
	MaxRank     = 100_000   // expiry rank of one lot
	MaxTimeS    = 1 << 31   // any launch or transfer time, seconds either side of zero
)

// A Problem is one launch cycle, or one cycle on each of several sites that may
// draw on each other's lots. It is only read; the zero value is a valid problem
// without sorties.
type Problem struct {
	// Sites where sorties launch and lots are kept. None means a single site
	// without a crew limit and without a reserve.
	Sites []Site
	// Lots of booster units. Draws name a lot by its index here.
	Lots []Lot
	// Sorties in launch order: launch times of one site never decrease.
	Sorties []Sortie
	// Groups of sorties that may trade spots.
	Groups []Group
	// Transfers that bring units from one site to another.
	Transfers []Transfer
	// KeepAfter, from 1 to 4, asks for the least disturbance of an earlier plan:
	// after that many levels of the objective comes "as many sorties as possible
	// keep the fit named in Keep". 0 means that Keep is not looked at.
	KeepAfter int
}

// A Site is a deck or strip with its own crews.
type Site struct {
	ID string
	// Crews that fit units here; nil means that crews are no limit.
	Crews *Crews
	// Reserve is how many units of the site's lots, all together, stay back.
	Reserve int
}

// Crews is the fitting capacity of one site. Times are in seconds.
type Crews struct {
	Teams    int   // teams working side by side; 0 means that nothing can be fitted
	UnitS    int64 // time one team takes for one unit
	HoldMinS int64 // units are on at the latest this long before launch
	HoldMaxS int64 // and at the earliest this long before launch
}

// A Lot is a number of like units kept at one site.
type Lot struct {
	ID        string
	Site      int // index into Sites
	Available int // usable units: unexpired, inside firing limits, not spoken for
	Reserve   int // units of this lot that stay back
	// ExpiryRank orders lots by expiry, the earliest-expiring lowest (0, 1, 2, ...).
	ExpiryRank int
}

// A Sortie is one aircraft waiting to go.
type Sortie struct {
	ID       string
	Site     int   // index into Sites
	Priority int   // worth of launching it; 0 or more
	LaunchS  int64 // launch time, seconds after any fixed moment
	// Fits are the usable ones: run, cover, wind, structure and probability have
	// been judged before. A fit without draws is a launch without units. Their
	// order is the last tie-break. None means that the sortie is held.
	Fits []Fit
	// Group is the ID of the group whose spots this sortie may use, or empty.
	Group string
	// Spot is the one it stands on in the given order; used by [Respot] only.
	Spot string
	// HalfSpanMM is half the wing span, for clearance between spots of a group.
	HalfSpanMM int64
	// Must asks for a launch whatever it costs the others. It can make a problem
	// infeasible.
	Must bool
	// Keep is the ID of the fit in an earlier plan ([Problem.KeepAfter]); empty
	// when it was held or there was none.
	Keep string
}

// A Fit is one way to launch a sortie.
type Fit struct {
	ID    string // unique within the sortie
	Spot  string // for a sortie of a group: the spot this fit was computed for
	Draws []Draw // at most one for each lot
	// MarginMM is run available less run required, in millimetres.
	MarginMM int64
}

// Units is how many units the fit draws.
func (f *Fit) Units() int {
	n := 0
	for _, d := range f.Draws {
		n += d.Units
	}
	return n
}

// A Draw takes units from one lot.
type Draw struct {
	Lot   int // index into Lots
	Units int // 1 or more
}

// A Group is a set of spots and the sorties (those that name it) that may trade
// them. One aircraft stands on a spot.
type Group struct {
	ID    string
	Spots []Spot
	// HeldStay says that a held sortie stays on a spot of the group, so that it
	// is in the way; otherwise it is struck clear and needs none.
	HeldStay bool
	// Neighbours are pairs of spots whose wings could meet.
	Neighbours []Neighbour
}

// A Spot is a place in a group.
type Spot struct {
	ID string
	// LaunchS is the launch time of whoever stands here, where the place in the
	// range decides it; nil leaves each sortie its own launch time.
	LaunchS *int64
	// Behind is the spot in front that must be empty before this one can launch,
	// or empty. With [Group.HeldStay] a held aircraft there blocks this spot.
	Behind string
	// Takes lists the sorties (IDs) that fit the spot; nil takes every one.
	Takes []string
}

// A Neighbour is a pair of spots: the half spans of the two aircraft on them
// together are at most GapMM (distance of the centre lines less the clearance
// asked for).
type Neighbour struct {
	A, B  string
	GapMM int64
}

// A Transfer brings units of lots kept at one site to another before or during
// the cycle.
type Transfer struct {
	From, To int // indices into Sites
	// Lot is the index of the only lot it carries, or -1 for any lot of From.
	Lot int
	// MaxUnits it can carry.
	MaxUnits int
	// ArriveS is when they are there. A sortie can use them if they arrive no
	// later than the last moment its crew can fit them.
	ArriveS int64
}

func (p *Problem) sites() []Site {
	if len(p.Sites) == 0 {
		return []Site{{}}
	}
	return p.Sites
}

// launchS is when sortie i goes with fit f: the time of the spot where that has
// one, else its own.
func (p *Problem) launchS(i int, spot string) int64 {
	s := &p.Sorties[i]
	if g := p.group(s.Group); g != nil {
		if sp := g.spot(spot); sp != nil && sp.LaunchS != nil {
			return *sp.LaunchS
		}
	}
	return s.LaunchS
}

func (p *Problem) group(id string) *Group {
	if id == "" {
		return nil
	}
	for g := range p.Groups {
		if p.Groups[g].ID == id {
			return &p.Groups[g]
		}
	}
	return nil
}

func (g *Group) spot(id string) *Spot {
	for s := range g.Spots {
		if g.Spots[s].ID == id {
			return &g.Spots[s]
		}
	}
	return nil
}

func (s *Spot) takes(sortie string) bool {
	if s.Takes == nil {
		return true
	}
	for _, id := range s.Takes {
		if id == sortie {
			return true
		}
	}
	return false
}

// transfer is the first transfer that can bring units of the lot to the site in
// time for a launch, or -1. Validate sees to it that no two transfers serve the
// same lot and site.
func (p *Problem) transfer(lot, site int, launchS int64) int {
	from := p.Lots[lot].Site
	latest := launchS
	if c := p.sites()[site].Crews; c != nil {
		latest -= c.HoldMinS
	}
	for t := range p.Transfers {
		tr := &p.Transfers[t]
		if tr.From == from && tr.To == site && (tr.Lot == lot || tr.Lot < 0) && tr.ArriveS <= latest {
			return t
		}
	}
	return -1
}
