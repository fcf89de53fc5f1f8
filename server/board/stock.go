package board

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// soon is how near its expiry a lot is warned of.
const soon = 30 * 24 * time.Hour

// tally is how many units stand where.
type tally struct{ available, held, arriving, barred, gone int }

func (t *tally) add(s bowrollv1.UnitState, n int) {
	switch s {
	case bowrollv1.UnitState_UNIT_STATE_AVAILABLE:
		t.available += n
	case bowrollv1.UnitState_UNIT_STATE_RESERVED, bowrollv1.UnitState_UNIT_STATE_ISSUED, bowrollv1.UnitState_UNIT_STATE_FITTED, bowrollv1.UnitState_UNIT_STATE_ARMED:
		t.held += n
	case bowrollv1.UnitState_UNIT_STATE_RECEIVED, bowrollv1.UnitState_UNIT_STATE_INSPECTED, bowrollv1.UnitState_UNIT_STATE_RETURNED:
		t.arriving += n
	case bowrollv1.UnitState_UNIT_STATE_EXPENDED, bowrollv1.UnitState_UNIT_STATE_DISPOSED, bowrollv1.UnitState_UNIT_STATE_LOST:
		t.gone += n
	default:
		t.barred += n
	}
}

func (t *tally) cells() []string {
	return []string{fmt.Sprint(t.available), fmt.Sprint(t.held), fmt.Sprint(t.arriving), fmt.Sprint(t.barred), fmt.Sprint(t.gone)}
}

func tallyColumns() []paper.Column {
	return []paper.Column{{Head: "Available", Right: true}, {Head: "Held", Right: true}, {Head: "Arriving", Right: true}, {Head: "Barred", Right: true}, {Head: "Gone", Right: true}}
}

// stock shows what a site has, by type and by lot.
func (b *board) stock(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site := r.PathValue("site")
	ctx, parent := v.context(r.Context()), "sites/"+site
	var lots []*bowrollv1.StockLot
	token := ""
	for range mostPages {
		answer, err := b.to.Stock.ListLots(ctx, &bowrollv1.ListLotsRequest{Parent: parent, PageSize: 200, PageToken: token})
		if err != nil {
			return err
		}
		lots, token = append(lots, answer.GetLots()...), answer.GetNextPageToken()
		if token == "" {
			break
		}
	}
	counts, err := b.to.Stock.SummarizeStock(ctx, &bowrollv1.SummarizeStockRequest{Parent: parent})
	if err != nil {
		return err
	}
	byLot, byType := map[string]*tally{}, map[string]*tally{}
	var types []string
	for _, c := range counts.GetCounts() {
		lot, kind := short(c.GetLot()), short(c.GetType())
		if c.GetKind() == bowrollv1.LotKind_LOT_KIND_IGNITER {
			kind += ", igniter"
		}
		if byLot[lot] == nil {
			byLot[lot] = &tally{}
		}
		if byType[kind] == nil {
			byType[kind] = &tally{}
			types = append(types, kind)
		}
		byLot[lot].add(c.GetState(), int(c.GetUnitCount()))
		byType[kind].add(c.GetState(), int(c.GetUnitCount()))
	}
	slices.Sort(types)
	kinds := paper.Table{Columns: append([]paper.Column{{Head: "Type"}}, tallyColumns()...)}
	for _, kind := range types {
		kinds.Rows = append(kinds.Rows, append([]string{kind}, byType[kind].cells()...))
	}
	type lotRow struct {
		ID, Type, Expires, Suspended string
		Care                         []string
		T                            tally
		Cells                        []string
	}
	var rows []lotRow
	for _, l := range lots {
		id := short(l.GetName())
		t := byLot[id]
		if t == nil {
			t = &tally{}
		}
		rows = append(rows, lotRow{ID: id, Type: short(l.GetType()), Expires: instant(l.GetExpireTime()), Suspended: l.GetSuspended(), Care: b.care(l), Cells: t.cells()})
	}
	return b.write(w, v, http.StatusOK, view{Page: "stock", Title: "Stock of " + site, From: counts.GetProvenance(), Data: struct {
		Site        string
		Types       paper.Table
		Lots        []lotRow
		Units, Free int32
		More        bool
	}{site, kinds, rows, counts.GetUnitCount(), counts.GetAvailableCount(), token != ""}})
}

// care is what is to be said of a lot before its units are used.
func (b *board) care(l *bowrollv1.StockLot) []string {
	var list []string
	if left := l.GetExpireTime().AsTime().Sub(b.Now()); left <= 0 {
		list = append(list, "EXPIRED: not for use")
	} else if left < soon {
		list = append(list, fmt.Sprintf("expires in %.0f days", left.Hours()/24))
	}
	if l.GetKind() == bowrollv1.LotKind_LOT_KIND_BOOSTER && l.MisfireWaitS == nil {
		list = append(list, "waiting time after a misfire not known: nobody may approach without an authority")
	}
	return list
}

// mostShown is how many units and entries of a log a page shows.
const mostShown = 200

// lot shows one lot: its units, what it was exposed to, its log.
func (b *board) lot(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site, id := r.PathValue("site"), r.PathValue("lot")
	ctx, parent, name := v.context(r.Context()), "sites/"+site, "sites/"+site+"/lots/"+id
	l, err := b.to.Stock.GetLot(ctx, &bowrollv1.GetLotRequest{Name: name})
	if err != nil {
		return at(err, "/stock/"+site, "The stock of "+site)
	}
	exposure, err := b.to.Stock.GetExposure(ctx, &bowrollv1.GetExposureRequest{Name: name})
	if err != nil {
		return err
	}
	units, err := b.to.Stock.ListUnits(ctx, &bowrollv1.ListUnitsRequest{Parent: parent, Lot: id, PageSize: mostShown})
	if err != nil {
		return err
	}
	log, err := b.to.Stock.ListMovements(ctx, &bowrollv1.ListMovementsRequest{Parent: parent, Lot: id, PageSize: mostShown})
	if err != nil {
		return err
	}
	return b.write(w, v, http.StatusOK, view{Page: "lot", Title: "Lot " + id + " of " + site, From: l.GetProvenance(), Data: struct {
		Lot        *bowrollv1.StockLot
		Care       []string
		Facts      paper.Fields
		Exposure   paper.Fields
		Exposed    []string
		Units, Log paper.Table
		MoreUnits  bool
		MoreLog    bool
	}{l, b.care(l), lotFacts(l, v), exposureFacts(exposure, v), exposed(exposure), unitTable(units.GetUnits()), logTable(log.GetMovements()), units.GetNextPageToken() != "", !log.GetComplete()}})
}

func lotFacts(l *bowrollv1.StockLot, v *visitor) paper.Fields {
	degrees := func(x *float64) string {
		return figure.Given(x, func(x float64) string { return figure.Measured(v.units, figure.Temperature, x) })
	}
	return paper.Fields{List: []paper.Field{
		{Label: "Type", Value: short(l.GetType()) + ", " + word(l.GetKind())}, {Label: "Received in all", Value: fmt.Sprint(l.GetReceivedCount())},
		{Label: "Expires", Value: instant(l.GetExpireTime())}, {Label: "Stow at", Value: degrees(l.StowageLeastC) + " to " + degrees(l.StowageGreatestC)},
		{Label: "Igniter", Value: l.GetIgniterType()}, {Label: "Wait after a misfire", Value: figure.Given(l.MisfireWaitS, hours)},
	}}
}

// hours writes a time in hours and minutes.
func hours(seconds float64) string {
	return strings.TrimSuffix((time.Duration(seconds) * time.Second).Round(time.Minute).String(), "0s")
}

func exposureFacts(e *bowrollv1.Exposure, v *visitor) paper.Fields {
	degrees := func(x *float64) string {
		return figure.Given(x, func(x float64) string { return figure.Measured(v.units, figure.Temperature, x) })
	}
	return paper.Fields{List: []paper.Field{
		{Label: "Readings", Value: fmt.Sprint(e.GetReadingCount())}, {Label: "Coldest, hottest", Value: degrees(e.LeastC) + ", " + degrees(e.GreatestC)},
		{Label: "Watched", Value: hours(e.GetWatchedS())}, {Label: "Outside its limits", Value: hours(e.GetOutsideS())}, {Label: "Not watched", Value: hours(e.GetUnknownS())},
	}}
}

// exposed is what is to be said of what a lot was exposed to.
func exposed(e *bowrollv1.Exposure) []string {
	var list []string
	if e.GetOutsideS() > 0 {
		list = append(list, "was outside its stowage limits for "+hours(e.GetOutsideS()))
	}
	if e.GetUnknownS() > 0 {
		list = append(list, "was not watched for "+hours(e.GetUnknownS())+": what is not known is not fine")
	}
	if !e.GetTemperatureJudged() {
		list = append(list, "has no stowage temperatures to be judged by")
	}
	return list
}

func unitTable(units []*bowrollv1.Unit) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "Unit"}, {Head: "State", Badges: map[string]paper.Fill{"quarantined": paper.Black, "misfired": paper.Black, "hung up": paper.Black, "condemned": paper.Black, "lost": paper.Black, "available": paper.Open}},
		{Head: "Place"}, {Head: "Usable until"}, {Head: "Held for"}, {Head: "Why"}}}
	for _, u := range units {
		held := ""
		if u.GetPlan() != "" {
			held = short(u.GetPlan()) + " " + u.GetSortie()
		}
		why := strings.ReplaceAll(u.GetCause(), "_", " ")
		if u.GetWaitUntilTime() != nil {
			why += ", stay away until " + instant(u.GetWaitUntilTime())
		}
		t.Rows = append(t.Rows, []string{short(u.GetName()), word(u.GetState()), u.GetPlace(), instant(u.GetUsableUntilTime()), held, why})
	}
	return t
}

func logTable(list []*bowrollv1.Movement) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "No.", Right: true}, {Head: "What"}, {Head: "When"}, {Head: "Unit"}, {Head: "From, to"}, {Head: "Place"}, {Head: "Who"}, {Head: "Why"}}}
	for _, m := range list {
		change := ""
		if m.GetFromState() != "" || m.GetToState() != "" {
			change = orNone(m.GetFromState()) + " to " + orNone(m.GetToState())
		}
		t.Rows = append(t.Rows, []string{fmt.Sprint(m.GetSequence()), strings.ReplaceAll(m.GetEvent(), "_", " "), instant(m.GetTime()), m.GetUnit(), strings.ReplaceAll(change, "_", " "), m.GetPlace(), m.GetActor(), m.GetReason()})
	}
	return t
}
