package main

import (
	"bytes"
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/gather"
	"bowroll/client/pack"
	"bowroll/client/sheet/cyclesheet"
	"bowroll/client/sheet/paper"
	"bowroll/client/sitelog"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Files of a pack.
const (
	packAbout   = "about.txt"
	packPlan    = "plan.json"
	packLedger  = "ledger.ndjson"
	packModel   = "model/version.json"
	packChecks  = "model/checks.json"
	packCatalog = "catalog"
	packCards   = "cards"
)

const packText = `What was kept of %s, one launch cycle of bowroll.

plan.json       the cycle asked, the answer, what became of each sortie, and the
                model and catalog it was computed with (pinned)
sheet.html .txt the cycle on paper
cards/          the launch cards that are out; none where the service computes with
                another version of the model than the plan was computed with
ledger.ndjson   the site's log from the first entry of the plan's units on, an
                entry a line, each with the hash of the one before
catalog/        the catalog at the revision pinned
model/          the model's version and its check against published values

To check it: bowroll pack check FILE, or unpack it and run sha256sum -c SHA256SUMS
here and in each folder. To compute the plan anew: bowroll plan with the catalog of
this pack gives the same request digest and the same numbers.

Results advise. The approved flight manual, the ordnance instructions, local codes
and the officers and licensed people responsible decide.
`

// gather asks for everything that goes into a pack.
func (c *packWriteCommand) gather(p *program) (*pack.Pack, error) {
	to, err := p.connect()
	if err != nil {
		return nil, err
	}
	defer func() { _ = to.Close() }()
	plan, err := to.Plans.GetPlan(p.ctx, &bowrollv1.GetPlanRequest{Name: c.name()})
	if err != nil {
		return nil, err
	}
	whole := pack.New()
	err = whole.Add(packAbout, fmt.Appendf(nil, packText, c.name()))
	for _, part := range []func(*program, *client.Client, *bowrollv1.Plan, *pack.Pack) error{
		packKept, packSheets, packIssued, packLog, packRevision, packChecked,
	} {
		if err == nil {
			err = part(p, to, plan, whole)
		}
	}
	return whole, err
}

// add puts a message in as JSON.
func add(whole *pack.Pack, name string, m proto.Message) error {
	var out bytes.Buffer
	if err := writeJSON(&out, m); err != nil {
		return err
	}
	return whole.Add(name, out.Bytes())
}

func packKept(_ *program, _ *client.Client, plan *bowrollv1.Plan, whole *pack.Pack) error {
	return add(whole, packPlan, plan)
}

func packSheets(p *program, _ *client.Client, plan *bowrollv1.Plan, whole *pack.Pack) error {
	doc := cyclesheet.Sheet{Cycle: plan.GetCycle(), Plan: plan.GetAnswer(), Units: p.style().Units}.Document()
	return printed(whole, "sheet", doc)
}

// printed puts a document in as a page and as text.
func printed(whole *pack.Pack, name string, doc paper.Document) error {
	var page, text bytes.Buffer
	if err := paper.HTML(&page, doc); err != nil {
		return err
	}
	if err := paper.Text(&text, doc); err != nil {
		return err
	}
	return errors.Join(whole.Add(name+".html", page.Bytes()), whole.Add(name+".txt", text.Bytes()))
}

// packIssued puts in the cards that are out, unless the model has changed since.
func packIssued(p *program, to *client.Client, plan *bowrollv1.Plan, whole *pack.Pack) error {
	out := map[string]*bowrollv1.PlanSortie{}
	for _, s := range plan.GetSorties() {
		if s.GetCardRevision() > 0 {
			out[s.GetId()] = s
		}
	}
	if len(out) == 0 {
		return nil
	}
	sources, err := gather.KeptCards(p.ctx, to, plan, nil)
	if other := (*gather.ModelChanged)(nil); errors.As(err, &other) {
		return nil
	} else if err != nil {
		return err
	}
	cards, err := gather.Issued(p.ctx, to, plan, sources)
	if err != nil {
		return err
	}
	for _, one := range cards {
		if out[one.Sortie] == nil {
			continue
		}
		doc := paper.Document{Title: "Launch card: " + one.Sortie, Pages: []paper.Page{one.Page(p.style().Units)}, Dated: plan.GetCycle().GetStartTime().AsTime().UTC()}
		if err := printed(whole, path.Join(packCards, one.Sortie), doc); err != nil {
			return err
		}
	}
	return nil
}

// packLog puts in the log from the first entry of the units of the plan on,
// without gaps, so that each entry can be held against the one before it.
func packLog(p *program, to *client.Client, plan *bowrollv1.Plan, whole *pack.Pack) error {
	site, id, _ := strings.Cut(strings.TrimPrefix(plan.GetName(), "sites/"), "/plans/")
	first, err := firstEntry(p, to, site, id, plan)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	for last, complete := first-1, false; !complete; {
		page, err := to.Stock.ListMovements(p.ctx, &bowrollv1.ListMovementsRequest{Parent: siteName(site), AfterSequence: last, PageSize: 1000})
		if err != nil {
			return err
		}
		for _, m := range page.GetMovements() {
			if err := sitelog.AppendEntry(&out, m); err != nil {
				return err
			}
			last = m.GetSequence()
		}
		complete = page.GetComplete() || len(page.GetMovements()) == 0
	}
	return whole.Add(packLedger, out.Bytes())
}

// firstEntry is the number of the first entry of the log that concerns a plan, its
// lots among it.
func firstEntry(p *program, to *client.Client, site, id string, plan *bowrollv1.Plan) (int32, error) {
	asked := []*bowrollv1.ListMovementsRequest{{Plan: id}}
	lots := map[string]bool{}
	for _, s := range plan.GetSorties() {
		for _, d := range s.GetDraws() {
			if !lots[d.GetLot()] {
				lots[d.GetLot()] = true
				asked = append(asked, &bowrollv1.ListMovementsRequest{Lot: d.GetLot()})
			}
		}
	}
	first := int32(0)
	for _, request := range asked {
		request.Parent, request.PageSize = siteName(site), 1
		page, err := to.Stock.ListMovements(p.ctx, request)
		if err != nil {
			return 0, err
		}
		for _, m := range page.GetMovements() {
			if first == 0 || m.GetSequence() < first {
				first = m.GetSequence()
			}
		}
	}
	return max(1, first), nil
}

// packRevision puts in the catalog at the revision that the plan was computed
// with.
func packRevision(p *program, to *client.Client, plan *bowrollv1.Plan, whole *pack.Pack) error {
	answer, err := to.Catalog.ExportCatalog(p.ctx, &bowrollv1.ExportCatalogRequest{Revision: plan.GetPinned().GetCatalogRevision()})
	if err != nil {
		return err
	}
	for _, f := range append(answer.GetFiles(), &bowrollv1.CatalogFile{Path: revisionFile, Text: answer.GetRevision() + "\n"}) {
		if err := whole.Add(path.Join(packCatalog, f.GetPath()), []byte(f.GetText())); err != nil {
			return err
		}
	}
	return nil
}

func packChecked(p *program, to *client.Client, _ *bowrollv1.Plan, whole *pack.Pack) error {
	model, err := to.Model.GetModel(p.ctx, &bowrollv1.GetModelRequest{})
	if err != nil {
		return err
	}
	checks, err := to.Model.Check(p.ctx, &bowrollv1.ModelCheckRequest{})
	if err != nil {
		return err
	}
	return errors.Join(add(whole, packModel, model), add(whole, packChecks, checks))
}

// insight reads the plan of a pack and holds its parts against each other.
func insight(whole *pack.Pack) (*bowrollv1.Plan, []error) {
	var faults []error
	for _, name := range []string{packPlan, packLedger, packModel, packChecks, path.Join(packCatalog, revisionFile)} {
		if whole.File(name) == nil {
			faults = append(faults, fmt.Errorf("%s is not in it", name))
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	plan := &bowrollv1.Plan{}
	if err := protojson.Unmarshal(whole.File(packPlan), plan); err != nil {
		faults = append(faults, fmt.Errorf("%s: %w", packPlan, err))
	}
	if revision := strings.TrimSpace(string(whole.File(path.Join(packCatalog, revisionFile)))); plan.GetPinned().GetCatalogRevision() != revision {
		faults = append(faults, fmt.Errorf("the plan was computed with catalog %s, and the pack holds %s", plan.GetPinned().GetCatalogRevision(), revision))
	}
	if err := chained(whole.File(packLedger)); err != nil {
		faults = append(faults, fmt.Errorf("%s: %w", packLedger, err))
	}
	return plan, faults
}

// chained holds each entry of a log against the one before it.
func chained(text []byte) error {
	var before *bowrollv1.Movement
	number := 0
	for line := range bytes.Lines(text) {
		number++
		m := &bowrollv1.Movement{}
		if err := protojson.Unmarshal(line, m); err != nil {
			return fmt.Errorf("line %d: %w", number, err)
		}
		if before != nil {
			if err := sitelog.Follows(m, before.GetSequence(), before.GetHash()); err != nil {
				return fmt.Errorf("line %d: %w", number, err)
			}
		}
		before = m
	}
	return nil
}

// sealKey reads the key that a pack is signed with, where one is named.
func sealKey(name string) (ed25519.PrivateKey, error) {
	if name == "" {
		return nil, nil
	}
	return siteKey(name)
}

// writePlainJSON writes what is no message of the contract.
func writePlainJSON(w io.Writer, answer any) error {
	text, err := json.Marshal(answer)
	if err != nil {
		return err
	}
	return indent(w, text)
}
