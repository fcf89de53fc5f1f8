package figure

import (
	"cmp"
	"slices"
)

// A Tag is the name of an upright line, as wide as it is written.
type Tag struct{ X, Wide float64 }

// A Place is where a tag stands: on a tier above the drawing, from 0, to the left
// or the right of its line. The line reaches up to its tag.
type Place struct {
	Tier  int
	Right bool
}

// mostTries bounds the search for places; drawings have a handful of tags.
const mostTries = 50_000

// PlaceTags finds places for the tags of lines between 0 and span, on as few
// tiers as will do, so that no tag meets another tag or a line. Where that cannot
// be had, tags stand above each other from left to right.
func PlaceTags(tags []Tag, span float64) []Place {
	order := make([]int, len(tags))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(tags[a].X, tags[b].X) })
	search := tagSearch{tags: tags, span: span, order: order, places: make([]Place, len(tags)), tries: mostTries}
	for tiers := 1; tiers <= len(tags); tiers++ {
		if search.from(0, tiers) {
			return search.places
		}
	}
	for n, i := range order {
		search.places[i] = Place{Tier: n, Right: tags[i].X < tags[i].Wide}
	}
	return search.places
}

// tagSearch places tags one after the other and goes back where one does not fit.
type tagSearch struct {
	tags   []Tag
	span   float64
	order  []int
	places []Place
	tries  int
}

func (s *tagSearch) from(n, tiers int) bool {
	if n == len(s.order) {
		return true
	}
	i := s.order[n]
	for tier := range tiers {
		for _, right := range []bool{false, true} {
			if s.tries--; s.tries < 0 {
				return false
			}
			s.places[i] = Place{tier, right}
			if s.fits(n) && s.from(n+1, tiers) {
				return true
			}
		}
	}
	return false
}

// fits reports whether the n-th tag keeps inside and clear of those before it.
func (s *tagSearch) fits(n int) bool {
	i := s.order[n]
	if from, to := reach(s.tags[i], s.places[i]); from < 0 || to > s.span {
		return false
	}
	return !slices.ContainsFunc(s.order[:n], func(o int) bool {
		return clash(s.tags[i], s.places[i], s.tags[o], s.places[o])
	})
}

// reach is what a tag covers from left to right.
func reach(t Tag, p Place) (from, to float64) {
	if p.Right {
		return t.X, t.X + t.Wide
	}
	return t.X - t.Wide, t.X
}

// clash reports whether two tags meet, or one meets the other's line.
func clash(a Tag, pa Place, b Tag, pb Place) bool {
	fromA, toA := reach(a, pa)
	fromB, toB := reach(b, pb)
	return pa.Tier == pb.Tier && toB > fromA && fromB < toA ||
		pb.Tier >= pa.Tier && b.X > fromA && b.X < toA ||
		pa.Tier >= pb.Tier && a.X > fromB && a.X < toB
}
