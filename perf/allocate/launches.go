package allocate

import "sort"

// A Launch is one sortie that goes, as chosen.
type Launch struct {
	Sortie  int // index
	Site    int
	Units   int
	LaunchS int64 // of the sortie, or of the spot where that decides
}

// Launches lists the sorties that go, in the order of their launch times; equal
// times keep the order of the sorties.
func Launches(p *Problem, choices []Choice) []Launch {
	var out []Launch
	for i, c := range choices {
		if c.Fit == Held {
			continue
		}
		f := &p.Sorties[i].Fits[c.Fit]
		out = append(out, Launch{i, p.Sorties[i].Site, f.Units(), p.launchS(i, f.Spot)})
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].LaunchS < out[b].LaunchS })
	return out
}
