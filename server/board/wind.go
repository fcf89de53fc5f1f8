package board

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet/chart"
	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// How far apart directions are in the picture, and in the table beside it,
// degrees.
const (
	pictureStep = 1.0
	tableStep   = 15
)

// windTime is how long the limits of a load may take to find.
const windTime = 30 * time.Second

// windView is what the page of wind limits shows.
type windView struct {
	Decks      []*bowrollv1.Deck
	Types      []*bowrollv1.AircraftType
	Boosters   []*bowrollv1.BoosterType
	Deck       *bowrollv1.Deck // chosen; nil before
	Type       *bowrollv1.AircraftType
	Counts     []count
	In         url.Values
	Faults     []fault
	Limits     []paper.Table
	Texts      []string
	Directions []directions
	Cautions   paper.Lines
	Chart      string
	Speed      string
	Load       string
}

// A count is a number of units that the type may take.
type count struct {
	N      int32
	Chosen bool
}

// directions are the winds over deck that one count of units may go in.
type directions struct {
	Count int32
	Table paper.Table
}

// windKeys are the keys of a case that the form sets, by the name of its field.
var windKeys = []struct{ field, path, label string }{
	{"flap", "flap", "Flap"}, {"mass", "gross_mass", "Mass without units"}, {"spot", "spot", "Spot"},
	{"temperature", "air.temperature", "Air"}, {"pressure", "air.pressure", "Pressure"},
	{"booster", "boosters.booster_type", "Units"}, {"grain", "boosters.grain_temperature", "Grain"},
}

// wind shows the form, and the limits once it is filled in.
func (b *board) wind(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := known(r); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(v.context(r.Context()), windTime)
	defer cancel()
	shown, from, err := b.windForm(ctx, r.URL.Query())
	if err != nil {
		return err
	}
	shown.Speed = figure.Unit(v.units, figure.Speed)
	code := http.StatusOK
	if shown.Deck != nil && shown.Type != nil && shown.In.Get("mass") != "" {
		asked, faults := windRequest(shown)
		shown.Faults = faults
		if len(faults) == 0 {
			answer, err := b.to.WindLimits.Compute(ctx, asked)
			if shown.Faults = refusedForm(err); err != nil && len(shown.Faults) == 0 {
				return at(err, "/wind", "Wind limits")
			}
			if err == nil {
				from = answer.GetProvenance()
				shown.answer(answer, v)
				shown.Chart = "/wind.svg?" + shown.In.Encode()
			}
		}
		if len(shown.Faults) > 0 {
			code = http.StatusUnprocessableEntity
		}
	}
	return b.write(w, v, code, view{Page: "wind", Title: "Wind limits", From: from, Data: shown})
}

// refusedForm says what the service found wrong with a form, if anything.
func refusedForm(err error) []fault {
	refusal, ok := client.AsRefusal(err)
	if !ok {
		return nil
	}
	var list []fault
	for _, x := range refusal.Violations {
		list = append(list, fault{Path: x.GetField(), Value: strings.Trim(x.GetValue(), `"`), Problem: broken(x), Allowed: x.GetAllowed(), Hint: x.GetHint()})
	}
	return list
}

// known refuses a query that is no form of this board's.
func known(r *http.Request) error {
	if len(r.URL.RawQuery) > 4096 {
		return &problem{Code: http.StatusRequestURITooLong, Title: "This form cannot be read", Text: "It is longer than any form of this board. Nothing was done."}
	}
	return nil
}

// windForm reads the catalog and what was chosen so far.
func (b *board) windForm(ctx context.Context, in url.Values) (*windView, *bowrollv1.Provenance, error) {
	shown := &windView{In: in}
	sites, err := b.to.Catalog.ListSites(ctx, &bowrollv1.ListSitesRequest{PageSize: 200})
	if err != nil {
		return nil, nil, err
	}
	for _, s := range sites.GetSites() {
		decks, err := b.to.Catalog.ListDecks(ctx, &bowrollv1.ListDecksRequest{Parent: s.GetName(), PageSize: 200})
		if err != nil {
			return nil, nil, err
		}
		shown.Decks = append(shown.Decks, decks.GetDecks()...)
	}
	types, err := b.to.Catalog.ListAircraftTypes(ctx, &bowrollv1.ListAircraftTypesRequest{PageSize: 200})
	if err != nil {
		return nil, nil, err
	}
	boosters, err := b.to.Catalog.ListBoosterTypes(ctx, &bowrollv1.ListBoosterTypesRequest{PageSize: 200})
	if err != nil {
		return nil, nil, err
	}
	shown.Types, shown.Boosters = types.GetAircraftTypes(), boosters.GetBoosterTypes()
	for _, d := range shown.Decks {
		if d.GetName() == in.Get("deck") {
			shown.Deck = d
		}
	}
	for _, t := range shown.Types {
		if t.GetName() == in.Get("type") {
			shown.Type = t
		}
	}
	shown.Counts = counts(shown.Type, in)
	return shown, sites.GetProvenance(), nil
}

// counts are the numbers of units that a type may take; all are chosen where none
// was.
func counts(t *bowrollv1.AircraftType, in url.Values) []count {
	list := []count{{N: 0}}
	for _, l := range t.GetLoadings() {
		if !slices.ContainsFunc(list, func(c count) bool { return c.N == l.GetUnitCount() }) {
			list = append(list, count{N: l.GetUnitCount()})
		}
	}
	for i := range list {
		list[i].Chosen = len(in["count"]) == 0 || slices.Contains(in["count"], fmt.Sprint(list[i].N))
	}
	return list
}

// windRequest makes the request of a form that is filled in.
func windRequest(shown *windView) (*bowrollv1.WindLimitsComputeRequest, []fault) {
	document := cycle.New("form")
	document.Set("deck", shown.Deck.GetName(), "Deck")
	document.Set("aircraft_type", shown.Type.GetName(), "Aircraft type")
	// The contract asks every case for a wind; this one's is searched for.
	document.Set("headwind", "0 m/s", "Headwind")
	units := shown.In.Get("booster") != ""
	for _, k := range windKeys {
		text := strings.TrimSpace(shown.In.Get(k.field))
		if text == "" || strings.HasPrefix(k.path, "boosters.") && !units {
			continue
		}
		document.Set(k.path, text, k.label)
	}
	asked := &bowrollv1.WindLimitsComputeRequest{Case: &bowrollv1.TakeoffCase{}, FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED, DirectionStepDeg: proto.Float64(pictureStep)}
	for _, c := range shown.Counts {
		if c.Chosen && (units || c.N == 0) {
			asked.UnitCounts = append(asked.UnitCounts, c.N)
		}
	}
	if len(asked.UnitCounts) == 0 {
		asked.UnitCounts = []int32{0}
	}
	if units {
		document.Set("boosters.count", fmt.Sprint(slices.Max(asked.UnitCounts)), "Units")
		document.Set("boosters.firing.mode", "best", "Firing")
	}
	var faults cycle.Faults
	if _, err := document.Decode(asked.GetCase()); errors.As(err, &faults) {
		list := faultsOf(faults)
		for i := range list {
			if label := list[i].Place; label != "form" {
				list[i].Path = label
			}
			list[i].Place = ""
		}
		return nil, list
	} else if err != nil {
		return nil, []fault{{Problem: err.Error()}}
	}
	return asked, nil
}

// answer sets the limits for the page.
func (shown *windView) answer(answer *bowrollv1.WindLimitsComputeResponse, v *visitor) {
	leastSpeed := func(x float64) string { return figure.Alone(figure.AtLeast(v.units, figure.Speed, x)) }
	most := func(x *float64) string {
		return figure.Given(x, func(x float64) string { return figure.Alone(figure.AtMost(v.units, figure.Speed, x)) })
	}
	t := paper.Table{Columns: []paper.Column{{Head: "Units"}, {Head: "Least headwind", Right: true}, {Head: "Greatest headwind", Right: true},
		{Head: "Greatest crosswind", Right: true}, {Head: "Greatest tailwind", Right: true}, {Head: "Greatest over deck", Right: true},
		{Head: "Firing", Right: true}, {Head: "Required run there", Right: true}, {Head: "Set by"}}}
	for _, l := range answer.GetLimits() {
		least, fire, binds := "none is enough", figure.None, ""
		switch limit := l.GetLeastHeadwindMps(); limit.GetState() {
		case bowrollv1.LimitState_LIMIT_STATE_FOUND:
			least = leastSpeed(limit.GetValue())
		case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
			least = "any"
		}
		switch {
		case l.FiringMode == nil:
		case l.GetFiringMode() == bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES:
			fire = "brakes"
		default:
			fire = figure.Given(l.DelayS, figure.Seconds)
		}
		if l.Binds != nil {
			binds = word(l.GetBinds())
		}
		t.Rows = append(t.Rows, []string{plural(int(l.GetUnitCount()), "unit"), least, most(l.GreatestHeadwindMps), most(l.CrosswindLimitMps), most(l.TailwindLimitMps),
			most(l.WindCeilingMps), fire, figure.Given(l.RequiredRunM, func(x float64) string { return figure.Measured(v.units, figure.Length, x) }), binds})
		d := directions{Count: l.GetUnitCount(), Table: paper.Table{Columns: []paper.Column{{Head: "From, off the bow"}, {Head: "Least", Right: true}, {Head: "set by"}, {Head: "Greatest", Right: true}, {Head: "set by"}}}}
		for _, p := range l.GetEnvelope() {
			if int(p.GetRelativeFromDeg())%tableStep != 0 || !p.GetOpen() {
				continue
			}
			d.Table.Rows = append(d.Table.Rows, []string{figure.Bearing(p.GetRelativeFromDeg()), figure.Given(p.LeastMps, leastSpeed), p.GetLeastBinds(), most(p.GreatestMps), p.GetGreatestBinds()})
		}
		shown.Directions = append(shown.Directions, d)
		if l.GetText() != "" {
			shown.Texts = append(shown.Texts, plural(int(l.GetUnitCount()), "unit")+": "+l.GetText())
		}
	}
	shown.Limits, shown.Cautions = []paper.Table{t}, cautionLines(answer.GetCautions())
	shown.Load = strings.Join([]string{short(shown.Type.GetName()), shown.In.Get("mass"), "flap " + shown.In.Get("flap"), "spot " + shown.In.Get("spot")}, ", ")
}

// windChart draws the limits that a form asks for.
func (b *board) windChart(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := known(r); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(v.context(r.Context()), windTime)
	defer cancel()
	shown, _, err := b.windForm(ctx, r.URL.Query())
	if err != nil {
		return err
	}
	if shown.Deck == nil || shown.Type == nil {
		return &problem{Code: http.StatusNotFound, Title: "There is no such picture", Text: "The deck or the type is not in the catalog.", Back: "/wind", BackName: "Wind limits"}
	}
	asked, faults := windRequest(shown)
	if len(faults) > 0 {
		return &problem{Code: http.StatusUnprocessableEntity, Title: "The form cannot be read", Text: "Fill it in on its page.", Back: "/wind", BackName: "Wind limits"}
	}
	answer, err := b.to.WindLimits.Compute(ctx, asked)
	if err != nil {
		return err
	}
	return drawn(w, func(out io.Writer) error {
		return chart.Envelope(out, chart.Style{Format: chart.SVG, Units: v.units, About: short(shown.Type.GetName()) + ", flap " + shown.In.Get("flap")}, answer)
	})
}
