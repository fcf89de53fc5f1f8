package timeline

// Spans are the spans of a cycle with one resource at a time as the only limit:
// what each would allow by itself, in seconds from the first launch to the last.
type Spans struct {
	AllS   int64 // everything together
	DeckS  int64 // launch interval and igniters alone, crews and bays without limit
	CrewsS int64 // crews and bays alone, launches following without interval
	// TeamsToKeepUp is the least number of teams with which crews take no longer
	// than the deck; 0 without units to fit.
	TeamsToKeepUp int
}

// Measure plans the items again for each of them.
func Measure(d Deck, items []Item) (*Spans, error) {
	all, err := Plan(d, items, nil)
	if err != nil {
		return nil, err
	}
	out := &Spans{AllS: all.SpanS}
	fitted := 0
	for _, it := range items {
		if it.Units > 0 {
			fitted++
		}
	}
	deck := d
	deck.Teams, deck.Bays = max(d.Teams, fitted*d.together()), 0
	s, err := Plan(deck, items, nil)
	if err != nil {
		return nil, err
	}
	out.DeckS = s.SpanS
	crews := d
	crews.IntervalS, crews.DeckClearS, crews.ExhaustSettleS, crews.WindReadS, crews.IgniterS = 0, 0, 0, 0, 0
	if s, err = Plan(crews, items, nil); err != nil {
		return nil, err
	}
	out.CrewsS = s.SpanS
	if fitted == 0 {
		return out, nil
	}
	// More teams never take longer here: aircraft are taken in order by whoever is
	// free, and each takes as long with any of them.
	low, high := d.together(), fitted*d.together()
	for low < high {
		mid := (low + high) / 2
		crews.Teams = mid
		if s, err = Plan(crews, items, nil); err != nil {
			return nil, err
		}
		if s.SpanS <= out.DeckS {
			high = mid
		} else {
			low = mid + 1
		}
	}
	out.TeamsToKeepUp = low
	return out, nil
}

// SeaRoomFor is the sea that a span takes at a speed: speed * (turn + steady + span +
// reserve), in metres.
func (d *Deck) SeaRoomFor(spanS int64) float64 {
	return d.SpeedMPS * float64(d.TurnS+d.SteadyS+spanS+d.ReserveS)
}

// OneMoreTeam is how much sooner the last launch goes with one team more, seconds.
func OneMoreTeam(d Deck, items []Item, misfires []Misfire) (int64, error) {
	before, err := Plan(d, items, misfires)
	if err != nil || len(items) == 0 {
		return 0, err
	}
	d.Teams++
	after, err := Plan(d, items, misfires)
	if err != nil {
		return 0, err
	}
	last := len(items) - 1
	return before.Tasks[last].LaunchS - after.Tasks[last].LaunchS, nil
}
