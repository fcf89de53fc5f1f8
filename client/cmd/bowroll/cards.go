package main

import (
	"encoding/json"
	"io"
	"time"

	"bowroll/client/cycle"
	"bowroll/client/sheet/card"
	"bowroll/client/sheet/paper"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// cardFlags ask for launch cards.
type cardFlags struct {
	Cards    string `help:"Write a launch card for each sortie that launches, one to a page: .pdf, .html, .txt or .json." placeholder:"FILE" group:"Paper"`
	ValidFor string `help:"How long after its launch time a card holds, e.g. \"15 min\". Without it a card is void at its launch time." placeholder:"QUANTITY" group:"Paper"`
	Issued   string `help:"When the cards are issued (RFC 3339). Left to be written in by hand otherwise; no clock is read." placeholder:"TIME" group:"Paper"`
	IssuedBy string `help:"Who issues them." placeholder:"NAME" group:"Paper"`
	Revision *int   `help:"Revision of the cards." placeholder:"N" group:"Paper"`
}

// issue reads what the one who issues cards adds.
func (f cardFlags) issue() (card.Issue, error) {
	issue := card.Issue{Revision: f.Revision, By: f.IssuedBy}
	if f.Issued != "" {
		at, err := time.Parse(time.RFC3339, f.Issued)
		if err != nil {
			return issue, cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--issued"}, Value: f.Issued,
				Problem: "is not read as an instant", Allowed: "RFC 3339 with an offset", Hint: "e.g. --issued 2041-03-07T04:50:00Z"}}
		}
		at = at.UTC()
		issue.At = &at
	}
	if f.ValidFor != "" {
		seconds, err := quantity.Parse(quantity.Time, f.ValidFor)
		if err != nil || seconds < 0 || seconds > 86400 {
			return issue, cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--valid-for"}, Value: f.ValidFor,
				Problem: "is not read as a time", Allowed: "0 to 24 h", Hint: `e.g. --valid-for "15 min"`}}
		}
		issue.ValidFor = time.Duration(seconds * float64(time.Second))
	}
	return issue, nil
}

// printCards makes the cards and writes them.
func (p *program) printCards(f cardFlags, sheets paperFlags, form string, sources []card.Sources, asked *bowrollv1.Cycle) error {
	issue, err := f.issue()
	if err != nil {
		return err
	}
	cards := make([]card.Card, len(sources))
	for i, s := range sources {
		if cards[i], err = card.Build(s, issue); err != nil {
			return err
		}
	}
	return p.writeCards(f.Cards, form, "Launch cards: "+asked.GetId(), asked, cards, sheets)
}

// writeCards writes cards in the form that their file's name asks for.
func (p *program) writeCards(file, form, title string, asked *bowrollv1.Cycle, cards []card.Card, sheets paperFlags) error {
	if form == "json" {
		return writeFile(file, func(w io.Writer) error {
			out := json.NewEncoder(w)
			out.SetIndent("", "  ")
			return out.Encode(cards)
		})
	}
	doc := paper.Document{Title: title, Dated: asked.GetStartTime().AsTime().UTC()}
	for _, one := range cards {
		doc.Pages = append(doc.Pages, one.Page(p.style().Units))
	}
	if len(cards) == 0 {
		doc.Pages = []paper.Page{{Name: asked.GetId(), Stamp: "NO CARDS: NOTHING LAUNCHES"}}
	}
	return sheets.print(file, form, doc)
}
