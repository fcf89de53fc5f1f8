package main

import (
	"io"

	"bowroll/client"
	"bowroll/client/gather"
	"bowroll/client/sheet/card"
	"bowroll/client/sheet/chart"
	"bowroll/client/sheet/cyclesheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// planPaper is what a plan is printed as besides the table.
type planPaper struct {
	Sheet string `help:"Write the whole cycle on paper: plan, timeline, stock, course and wind, what-ifs: .pdf, .html or .txt." placeholder:"FILE" group:"Paper"`
	cardFlags
	dropFlag
	paperFlags
	Chart map[string]string `help:"Draw a chart into a file that ends in .svg or .png: margins (of the queue)." placeholder:"NAME=FILE" group:"Paper"`

	charts   []chartFile
	cards    []card.Sources
	variants []cyclesheet.Variant
	formats  struct{ cards, sheet string }
}

// check reads the flags before anything is asked, so that nothing is computed
// for a file that could not be written.
func (f *planPaper) check() (err error) {
	if f.Cards != "" {
		if f.formats.cards, err = ending("--cards", f.Cards, "pdf", "html", "txt", "json"); err != nil {
			return err
		}
	}
	if f.Sheet != "" {
		if f.formats.sheet, err = ending("--sheet", f.Sheet, "pdf", "html", "txt"); err != nil {
			return err
		}
	}
	if f.charts, err = chartFiles(f.Chart, "margins"); err != nil {
		return err
	}
	_, err = f.issue()
	return err
}

// gather asks for what the plan alone does not say.
func (f *planPaper) gather(p *program, to *client.Client, asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan, nodes *int32, report *report) (err error) {
	if f.Cards != "" && f.Drop != "" {
		if f.drops, err = f.read(p); err != nil {
			return err
		}
	}
	if f.Cards != "" {
		report.say("computing " + count(len(plan.GetLaunches()), "card"))
		f.cards, err = gather.Cards(p.ctx, to, asked, plan, p.style().Units, f.drops)
	}
	if err == nil && f.Sheet != "" {
		report.say("planning the what-ifs of the sheet")
		f.variants, err = gather.Variants(p.ctx, to, asked, nodes)
	}
	return err
}

// write writes the files asked for.
func (f *planPaper) write(p *program, asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan) error {
	if f.Sheet != "" {
		sheet := cyclesheet.Sheet{Cycle: asked, Plan: plan, Variants: f.variants, Units: p.style().Units}
		if err := f.print(f.Sheet, f.formats.sheet, sheet.Document()); err != nil {
			return err
		}
	}
	for _, c := range f.charts {
		style := chart.Style{Format: c.format, Units: p.style().Units, About: asked.GetDisplayName()}
		if err := writeFile(c.file, func(w io.Writer) error { return chart.Margins(w, style, plan) }); err != nil {
			return err
		}
	}
	if f.Cards != "" {
		return p.printCards(f.cardFlags, f.paperFlags, f.formats.cards, f.cards, asked)
	}
	return nil
}
