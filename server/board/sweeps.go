package board

import (
	"net/http"
	"strconv"

	"bowroll/client/sheet"
	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

func (b *board) sitesOfSweeps(w http.ResponseWriter, r *http.Request, v *visitor) error {
	return b.choose(w, r, v, "Sweeps", "/sweeps/", bowrollv1.Sweeps_ListSweeps_FullMethodName)
}

// A sweepRow is a sweep as pages show it.
type sweepRow struct {
	ID, For, Why string
	State        string
	Ill          bool // it came to nothing, or to a part
	Ended        bool
	Done, Rows   int32
	Progress     string
	Goes         string
	Refused      string
	Created      string
}

func sweepRowOf(s *bowrollv1.Sweep) sweepRow {
	return sweepRow{
		ID: short(s.GetName()), For: s.GetDisplayName(), Why: s.GetReason(), State: word(s.GetState()),
		Ill:   s.GetState() == bowrollv1.SweepState_SWEEP_STATE_FAILED || s.GetState() == bowrollv1.SweepState_SWEEP_STATE_CANCELLED,
		Ended: s.GetEndTime() != nil,
		Done:  s.GetRowDoneCount(), Rows: s.GetRowCount(), Progress: sheet.SweepProgress(s),
		Goes: grouped(s.GetGoesCount()), Refused: grouped(s.GetRefusedCount()), Created: instant(s.GetCreateTime()),
	}
}

func grouped(n int32) string { return figure.Grouped(strconv.Itoa(int(n))) }

// sweeps lists the sweeps of a site.
func (b *board) sweeps(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site := r.PathValue("site")
	var rows []sweepRow
	var from *bowrollv1.Provenance
	token := ""
	for range mostPages {
		answer, err := b.to.Sweeps.ListSweeps(v.context(r.Context()), &bowrollv1.ListSweepsRequest{Parent: "sites/" + site, PageSize: 200, PageToken: token})
		if err != nil {
			return err
		}
		for _, s := range answer.GetSweeps() {
			rows = append(rows, sweepRowOf(s))
		}
		from, token = answer.GetProvenance(), answer.GetNextPageToken()
		if token == "" {
			break
		}
	}
	return b.write(w, v, http.StatusOK, view{Page: "sweeps", Title: "Sweeps of " + site, From: from, Data: struct {
		Site string
		Rows []sweepRow
		More bool
	}{site, rows, token != ""}})
}

// sweep shows one sweep: how far it is, what varies in it, and its rows as files
// where all of them are there.
func (b *board) sweep(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site, id := r.PathValue("site"), r.PathValue("sweep")
	s, err := b.to.Sweeps.GetSweep(v.context(r.Context()), &bowrollv1.GetSweepRequest{Name: "sites/" + site + "/sweeps/" + id})
	if err != nil {
		return at(err, "/sweeps/"+site, "The sweeps of "+site)
	}
	facts := paper.Fields{List: []paper.Field{
		{Label: "Rows that may go", Value: grouped(s.GetGoesCount())},
		{Label: "Rows that were refused", Value: grouped(s.GetRefusedCount())},
		{Label: "Parts done", Value: grouped(s.GetChunkDoneCount()) + " of " + grouped(s.GetChunkCount())},
		{Label: "Processor time", Value: figure.Fixed(s.GetCpuS(), 1) + " s"},
		{Label: "Kept in the store", Value: sheet.Bytes(s.GetResultBytes())},
		{Label: "Created", Value: instant(s.GetCreateTime())},
		{Label: "Ended", Value: instant(s.GetEndTime())},
		{Label: "Model", Value: s.GetPinned().GetModelVersion()},
		{Label: "Catalog", Value: s.GetPinned().GetCatalogRevision()},
	}}
	varies := paper.Table{Columns: []paper.Column{{Head: "Field"}, {Head: "Values"}}}
	for _, a := range s.GetSpec().GetAxes() {
		varies.Rows = append(varies.Rows, []string{a.GetField(), sheet.SweepAxis(a)})
	}
	columns := paper.Table{Columns: []paper.Column{{Head: "Column"}, {Head: "Kind"}, {Head: "Unit"}, {Head: "What it is"}}}
	for _, c := range s.GetColumns() {
		columns.Rows = append(columns.Rows, []string{c.GetName(), c.GetKind(), c.GetUnit(), c.GetText()})
	}
	return b.write(w, v, http.StatusOK, view{Page: "sweep", Title: "Sweep " + id, From: s.GetProvenance(), Data: struct {
		Site            string
		Sweep           sweepRow
		Facts           paper.Fields
		How             string
		Varies, Columns paper.Table
		Whole           bool // every row is there and the visitor may have them
	}{site, sweepRowOf(s), facts, sheet.SweepMethod(s.GetSpec()), varies, columns,
		s.GetState() == bowrollv1.SweepState_SWEEP_STATE_DONE && v.may(bowrollv1.Sweeps_ReadSweep_FullMethodName, site)}})
}
