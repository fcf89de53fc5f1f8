package board

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"bowroll/client/gather"
	"bowroll/client/sheet/card"
	"bowroll/client/sheet/chart"
	"bowroll/client/sheet/cyclesheet"
	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// planned is what the page of a plan shows.
type planned struct {
	ID, File string
	Sheet    paper.Page
	Launches []*bowrollv1.PlannedLaunch
	Keep     bool
	Site     string
	PlanID   string
	Actor    string
	Request  string
	Text     string
}

// planPage shows a plan: what the cycle sheet says, with the run of each launch.
func (b *board) planPage(w http.ResponseWriter, r *http.Request, v *visitor, j *job, plan *bowrollv1.CyclePlan) error {
	page := cycleSheet(j.asked, plan, v)
	site := siteOf(j.asked.GetDeck())
	return b.write(w, v, http.StatusOK, view{Page: "plan", Title: "Plan of " + j.asked.GetId(), From: plan.GetProvenance(), Data: planned{
		ID: j.id, File: j.file, Sheet: page, Launches: plan.GetLaunches(),
		Keep: b.Keeps && v.may(bowrollv1.Plans_CreatePlan_FullMethodName, site), Site: site, PlanID: j.asked.GetId(), Actor: v.who.Name, Request: b.NewID() + b.NewID(),
		Text: string(j.source),
	}})
}

// cycleSheet is what the cycle sheet says of a plan, for a page.
func cycleSheet(asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan, v *visitor) paper.Page {
	page := cyclesheet.Sheet{Cycle: asked, Plan: plan, Units: v.units}.Document().Pages[0]
	withRuns(&page, plan, v.units)
	return page
}

// siteOf is the site of a deck.
func siteOf(deck string) string {
	parts := strings.Split(deck, "/")
	if len(parts) < 2 {
		return ""
	}
	return parts[1]
}

// withRuns puts the run beside the required run, for which paper has no room.
func withRuns(page *paper.Page, plan *bowrollv1.CyclePlan, units quantity.System) {
	for _, row := range page.Rows {
		for i := range row {
			if row[i].Title != "Launches" {
				continue
			}
			t, ok := row[i].Blocks[0].(paper.Table)
			if !ok {
				continue
			}
			at := slices.IndexFunc(t.Columns, func(c paper.Column) bool { return c.Head == "Run req'd" })
			if at < 0 || len(t.Rows) != len(plan.GetLaunches()) {
				continue
			}
			t.Columns = slices.Insert(slices.Clone(t.Columns), at, paper.Column{Head: "Run", Right: true})
			for n, l := range plan.GetLaunches() {
				run := figure.Given(runOf(l), func(v float64) string { return figure.Number(units, figure.Length, v) })
				t.Rows[n] = slices.Insert(slices.Clone(t.Rows[n]), at, run)
			}
			row[i].Blocks = append([]paper.Block{t}, row[i].Blocks[1:]...)
		}
	}
}

func runOf(l *bowrollv1.PlannedLaunch) *float64 {
	if off := l.GetTakeoff(); off != nil {
		return off.RunM
	}
	return nil
}

// answered returns the job that the address names and its plan.
func (b *board) answered(r *http.Request, v *visitor) (*job, *bowrollv1.CyclePlan, error) {
	j, err := b.mine(r, v)
	if err != nil {
		return nil, nil, err
	}
	at := j.state()
	if at.plan == nil {
		return nil, nil, &problem{Code: http.StatusConflict, Title: "There is no plan yet", Text: "Cards and sheets are printed from a plan.", Back: "/cycle/" + j.id, BackName: "The plan being worked on"}
	}
	return j, at.plan, nil
}

// paperTime is how long what paper says beyond the plan may take to ask.
const paperTime = 45 * time.Second

// cards prints launch cards.
func (b *board) cards(w http.ResponseWriter, r *http.Request, v *visitor) error {
	j, plan, err := b.answered(r, v)
	if err != nil {
		return err
	}
	issue, err := issueForm(r)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(v.context(r.Context()), paperTime)
	defer cancel()
	sources, err := gather.Cards(ctx, b.to, j.asked, plan, v.units, nil)
	if err != nil {
		return err
	}
	only := r.FormValue("sortie")
	doc := paper.Document{Title: "Launch cards: " + j.asked.GetId(), Dated: j.asked.GetStartTime().AsTime().UTC()}
	for _, s := range sources {
		if only != "" && s.Launch.GetSortie() != only {
			continue
		}
		c, err := card.Build(s, issue)
		if err != nil {
			return err
		}
		doc.Pages = append(doc.Pages, c.Page(v.units))
	}
	if len(doc.Pages) == 0 {
		return &problem{Code: http.StatusNotFound, Title: "There is no card", Text: "Nothing of that name launches in this plan.", Back: "/cycle/" + j.id, BackName: "The plan"}
	}
	return printed(w, r, doc, "cards-"+j.asked.GetId())
}

// issueForm reads what the one who issues cards adds.
func issueForm(r *http.Request) (card.Issue, error) {
	issue := card.Issue{By: strings.TrimSpace(r.FormValue("by"))}
	if len(issue.By) > 80 {
		return issue, &problem{Code: http.StatusUnprocessableEntity, Title: "The name is too long", Text: "Who issues the cards takes at most 80 letters."}
	}
	if text := strings.TrimSpace(r.FormValue("valid_for")); text != "" {
		seconds, err := quantity.Parse(quantity.Time, text)
		if err != nil || seconds < 0 || seconds > 86400 {
			return issue, &problem{Code: http.StatusUnprocessableEntity, Title: "How long the cards hold cannot be read", Text: fmt.Sprintf("%q is not a time from 0 to 24 h. Write it with its unit, e.g. 15 min.", text)}
		}
		issue.ValidFor = time.Duration(seconds * float64(time.Second))
	}
	return issue, nil
}

// sheet prints the cycle sheet, with the what-ifs planned anew.
func (b *board) sheet(w http.ResponseWriter, r *http.Request, v *visitor) error {
	j, plan, err := b.answered(r, v)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(v.context(r.Context()), paperTime)
	defer cancel()
	variants, err := gather.Variants(ctx, b.to, j.asked, nil)
	if err != nil {
		return err
	}
	return printed(w, r, cyclesheet.Sheet{Cycle: j.asked, Plan: plan, Variants: variants, Units: v.units}.Document(), "sheet-"+j.asked.GetId())
}

// printed answers a document as the form that was asked for.
func printed(w http.ResponseWriter, r *http.Request, doc paper.Document, name string) error {
	size := paper.A4
	if r.FormValue("paper") == "letter" {
		size = paper.Letter
	}
	var whole bytes.Buffer
	kind, err := "text/html; charset=utf-8", error(nil)
	switch form := r.FormValue("as"); form {
	case "", "html":
		w.Header().Set("Content-Security-Policy", paperPolicy)
		err = paper.HTML(&whole, doc)
	case "pdf":
		kind = "application/pdf"
		w.Header().Set("Content-Disposition", `inline; filename="`+name+`.pdf"`)
		err = paper.PDF(&whole, doc, size)
	case "txt":
		kind = "text/plain; charset=utf-8"
		err = paper.Text(&whole, doc)
	default:
		return &problem{Code: http.StatusNotFound, Title: "There is no such form", Text: "Sheets are printed as html, pdf or txt."}
	}
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(whole.Bytes())
	return nil
}

// margins draws the margins of the queue.
func (b *board) margins(w http.ResponseWriter, r *http.Request, v *visitor) error {
	j, plan, err := b.answered(r, v)
	if err != nil {
		return err
	}
	return drawn(w, func(out io.Writer) error {
		return chart.Margins(out, chart.Style{Format: chart.SVG, Units: v.units, About: j.asked.GetDisplayName()}, plan)
	})
}

// traceStep is how far apart the rows of a drawn run are, in seconds.
const traceStep = 0.05

// runChart draws the run of one launch along the deck.
func (b *board) runChart(w http.ResponseWriter, r *http.Request, v *visitor) error {
	j, plan, err := b.answered(r, v)
	if err != nil {
		return err
	}
	sortie := strings.TrimSuffix(r.PathValue("sortie"), ".svg")
	at := slices.IndexFunc(plan.GetLaunches(), func(l *bowrollv1.PlannedLaunch) bool { return l.GetSortie() == sortie })
	if at < 0 {
		return &problem{Code: http.StatusNotFound, Title: "There is no such launch", Text: "Nothing of that name launches in this plan.", Back: "/cycle/" + j.id, BackName: "The plan"}
	}
	asked := gather.Case(j.asked, plan, plan.GetLaunches()[at])
	ctx, step := v.context(r.Context()), traceStep
	off, err := b.to.Takeoffs.Compute(ctx, &bowrollv1.TakeoffsComputeRequest{Case: asked, Sections: []bowrollv1.Section{bowrollv1.Section_SECTION_COMMIT}})
	if err != nil {
		return err
	}
	trace, err := b.to.Takeoffs.Trace(ctx, &bowrollv1.TakeoffsTraceRequest{Case: asked, StepS: &step})
	if err != nil {
		return err
	}
	return drawn(w, func(out io.Writer) error {
		return chart.Run(out, chart.Style{Format: chart.SVG, Units: v.units, About: sortie}, trace, off)
	})
}

// drawn answers a picture whole or not at all.
func drawn(w http.ResponseWriter, draw func(io.Writer) error) error {
	var whole bytes.Buffer
	if err := draw(&whole); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox")
	_, _ = w.Write(whole.Bytes())
	return nil
}
