package allocate

import (
	"bufio"
	"fmt"
	"io"
)

// Stages is how many stages [WriteLP] can write: one for each level of the
// objective.
func Stages(p *Problem) int { return len(p.levelNames()) }

// WriteLP writes one stage (from 1 to [Stages]) of the problem as CPLEX-LP text,
// all coefficients integers. Stage k optimises level k; earlier holds the optimal
// values of the levels before it (as in [Level.Value]), which become constraints.
// The optimum of the file is the value of the level.
//
// Variable x_i_f launches sortie i with fit f (both counted from 0, as in the
// problem); h_i_s leaves a held sortie i on spot s of its group; fitted_s_t counts
// units fitted at site s up to its launch time t. Nothing is left
// out that only the solver could do without: dominated fits and every crew window
// that could bind are there, so that the file checks the whole way to the answer.
func WriteLP(w io.Writer, p *Problem, stage int, earlier []int64) error {
	if found := Validate(p); found != nil {
		return &InvalidError{found}
	}
	names := p.levelNames()
	if stage < 1 || stage > len(names) || len(earlier) < stage-1 {
		return fmt.Errorf("allocate: stage is %d with %d earlier values: must be from 1 to %d, with a value for each stage before it",
			stage, len(earlier), len(names))
	}
	m := newModel(p, false)
	l := &lpWriter{w: bufio.NewWriter(w), m: m}
	l.stage(stage-1, earlier)
	return l.w.Flush()
}

type lpWriter struct {
	w     *bufio.Writer
	m     *model
	width int
	none  bool // the variable "none", which stands where a sum is empty, occurs
}

func (l *lpWriter) stage(k int, earlier []int64) {
	m := l.m
	name := m.names[k]
	_, maximise := (&Objective{}).level(name)
	fmt.Fprintf(l.w, "\\ stage %d: %s\n", k+1, name)
	if maximise {
		l.w.WriteString("Maximize\n obj:")
	} else {
		l.w.WriteString("Minimize\n obj:")
	}
	l.sum(m.levels[k], maximise)
	l.w.WriteString("\nSubject To\n")
	for i := range m.p.Sorties {
		l.one(i)
	}
	for r := range m.rows {
		w := &m.rows[r]
		fmt.Fprintf(l.w, " %s_%d_%d:", baseNames[w.base.kind], w.base.a, w.base.b)
		l.row(w)
	}
	for site := range m.cal {
		l.crews(site)
	}
	for e := range k {
		_, maximise := (&Objective{}).level(m.names[e])
		fmt.Fprintf(l.w, " held_%s:", m.names[e])
		l.sum(m.levels[e], maximise)
		fmt.Fprintf(l.w, " = %d\n", earlier[e])
	}
	l.w.WriteString("Binaries\n")
	l.width = 0
	if l.none {
		l.put(" none")
	}
	for j := range m.opts {
		if l.named(j) {
			l.put(" " + l.name(j))
		}
	}
	l.w.WriteString("\nEnd\n")
}

// named says whether an option is a variable: to hold a sortie that needs no spot
// is to choose nothing.
func (l *lpWriter) named(j int) bool {
	return l.m.opts[j].fit != Held || l.m.opts[j].spot >= 0 || l.valued(j)
}

// valued says that holding is worth something by itself (it keeps a plan).
func (l *lpWriter) valued(j int) bool {
	for _, v := range l.m.levels {
		if v[j] != 0 {
			return true
		}
	}
	return false
}

func (l *lpWriter) name(j int) string {
	o := l.m.opts[j]
	switch {
	case o.fit != Held:
		return fmt.Sprintf("x_%d_%d", l.m.owner[j], o.fit)
	case o.spot >= 0:
		return fmt.Sprintf("h_%d_%d", l.m.owner[j], o.spot)
	}
	return fmt.Sprintf("h_%d", l.m.owner[j])
}

// one says that one option, or at most one, of sortie i is taken.
func (l *lpWriter) one(i int) {
	from, to := int(l.m.first[i]), int(l.m.first[i+1])
	if from == to {
		// Nothing can become of it: an equation that nothing solves.
		fmt.Fprintf(l.w, " sortie_%d: none = 1\n nothing_%d: none <= 0\n", i, i)
		l.none = true
		return
	}
	fmt.Fprintf(l.w, " sortie_%d:", i)
	l.width = 0
	sense := "="
	any := false
	for j := from; j < to; j++ {
		if !l.named(j) {
			sense = "<="
			continue
		}
		any = true
		l.put(" + " + l.name(j))
	}
	if !any {
		l.put(" 0 none")
		l.none = true
	}
	fmt.Fprintf(l.w, " %s 1\n", sense)
}

// crews writes the crew windows of a site over running totals: fitted_s_t is how
// many units are fitted to launches up to slot t of site s, so that a window is the
// difference of two of them.
func (l *lpWriter) crews(site int) {
	c := &l.m.cal[site]
	most := make([]int64, len(c.times)) // that the fits of each slot could want
	bySlot := make([][]int, len(c.times))
	for i := range l.m.p.Sorties {
		top := map[int]int64{}
		for j := int(l.m.first[i]); j < int(l.m.first[i+1]); j++ {
			if o := l.m.opts[j]; o.slot >= 0 && l.m.p.Sorties[i].Site == site {
				bySlot[o.slot] = append(bySlot[o.slot], j)
				top[o.slot] = max(top[o.slot], o.units)
			}
		}
		for slot, n := range top {
			most[slot] += n
		}
	}
	for t := range c.times {
		l.width = 0
		l.put(fmt.Sprintf(" total_%d_%d: fitted_%d_%d", site, t, site, t))
		if t > 0 {
			l.put(fmt.Sprintf(" - fitted_%d_%d", site, t-1))
		}
		for _, j := range bySlot[t] {
			l.term(-l.m.opts[j].units, j)
		}
		l.w.WriteString(" = 0\n")
	}
	for a := range c.times {
		sum := int64(0)
		for b := a; b < len(c.times); b++ {
			sum += most[b]
			if sum <= c.capacity(a, b) {
				continue
			}
			fmt.Fprintf(l.w, " crews_%d_%d_%d: fitted_%d_%d", site, a, b, site, b)
			if a > 0 {
				fmt.Fprintf(l.w, " - fitted_%d_%d", site, a-1)
			}
			fmt.Fprintf(l.w, " <= %d\n", c.capacity(a, b))
		}
	}
}

func (l *lpWriter) row(r *row) {
	l.width = 0
	for k, j := range r.idx {
		l.term(r.coef[k], int(j))
	}
	fmt.Fprintf(l.w, " <= %d\n", r.rhs)
}

// sum writes a level, or its negative where it is counted that way.
func (l *lpWriter) sum(level []int64, maximise bool) {
	l.width = 0
	any := false
	for j, c := range level {
		if c == 0 {
			continue
		}
		if !maximise {
			c = -c
		}
		any = true
		l.term(c, j)
	}
	if !any {
		l.put(" 0 none")
		l.none = true
	}
}

func (l *lpWriter) term(c int64, j int) {
	if c < 0 {
		l.put(fmt.Sprintf(" - %d %s", -c, l.name(j)))
		return
	}
	l.put(fmt.Sprintf(" + %d %s", c, l.name(j)))
}

// put keeps lines short: the format allows 255 characters a line.
func (l *lpWriter) put(s string) {
	if l.width += len(s); l.width > 200 {
		l.w.WriteString("\n  ")
		l.width = len(s)
	}
	l.w.WriteString(s)
}
