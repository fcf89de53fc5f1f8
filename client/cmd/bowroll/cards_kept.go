package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client"
	"bowroll/client/gather"
	"bowroll/client/sheet"
	"bowroll/client/sheet/card"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type cardsCommand struct {
	planArgs
	File   string   `arg:"" help:"File to write, one card to a page: .pdf, .html, .txt or .json."`
	Sortie []string `help:"Cards of these sorties only." placeholder:"SORTIE"`
	Issue  bool     `help:"Issue the cards first; those that hold are left as they are. Needs --until and --actor."`
	Until  string   `help:"When the cards issued now run out: RFC 3339, or a time from now." placeholder:"TIME"`
	dropFlag
	paperFlags
	Actor     string `help:"Who issues. The log keeps it for good." placeholder:"NAME" env:"BOWROLL_ACTOR" group:"Record"`
	RequestID string `name:"request-id" help:"Id of this request: the same again issues nothing twice. Made at random unless given." placeholder:"ID" group:"Record"`

	form string
}

func (*cardsCommand) Help() string {
	return `Prints the launch cards of a kept plan as they were issued: card id, revision, who
issued it and when, until when it holds, the serial for each station. What is void
prints as void across its page. With --issue the cards are issued first, for a plan
that is confirmed; a card is refused, with its reasons, where an outcome stands
against the launch or data is missing, and then nothing is issued for that sortie.
Exit status 1: a card was refused or is void. Examples:

  bowroll --store varrow.db cards varrow dawn-1 cards.pdf \
    --issue --until "90 min" --actor quill
  bowroll --store varrow.db cards varrow dawn-1 amber-1.txt --sortie amber-1`
}

func (c *cardsCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	var err error
	if c.form, err = ending("FILE", c.File, "pdf", "html", "txt", "json"); err != nil {
		return err
	}
	flags := actFlags{Actor: c.Actor, RequestID: c.RequestID}
	var until *timestamppb.Timestamp
	switch {
	case c.Issue && c.Until == "":
		return badInput{errors.New(`--issue needs --until: say when the cards run out, e.g. --until "90 min" or --until 2041-03-07T06:30:00Z`)}
	case c.Issue && c.Actor == "":
		return badInput{errors.New("--issue needs --actor: say who issues the cards, or set BOWROLL_ACTOR")}
	case c.Issue:
		if until, err = p.instant("--until", c.Until); err != nil {
			return err
		}
		if flags.RequestID, err = flags.request(p); err != nil {
			return err
		}
		p.changing = true
	}
	if c.drops, err = c.read(p); err != nil {
		return err
	}
	var cards []card.Card
	report := newReportOfSeveral("gathering the cards")
	plan, err := askTelling(p, report, func(to *client.Client) (*bowrollv1.Plan, error) {
		plan, sources, err := c.sources(p, to)
		if err != nil {
			return nil, err
		}
		if c.Issue {
			if err := upToDate(plan, sources); err != nil {
				return nil, err
			}
			if err := withinWaivers(plan, sources, until); err != nil {
				return nil, err
			}
			if plan, err = c.issueAll(p, to, plan, sources, until, flags, report); err != nil {
				return nil, err
			}
		}
		cards, err = gather.Issued(p.ctx, to, plan, sources)
		return plan, err
	}, func(w io.Writer, style sheet.Style, plan *bowrollv1.Plan) error {
		return sheet.Cards(w, style, plan, cards)
	})
	if err != nil {
		if c.Issue && unsettled(p, err) {
			return &unknownOutcome{err, append([]string{"--request-id", flags.RequestID}, p.again...)}
		}
		return err
	}
	if err := p.writeCards(c.File, c.form, "Launch cards: "+plan.GetName(), plan.GetCycle(), cards, c.paperFlags); err != nil {
		return err
	}
	for _, one := range cards {
		if len(one.Refusals)+len(one.Voids) > 0 {
			return errNothing
		}
	}
	return nil
}

// sources asks for the plan and for all that its cards say.
func (c *cardsCommand) sources(p *program, to *client.Client) (*bowrollv1.Plan, []card.Sources, error) {
	plan, err := to.Plans.GetPlan(p.ctx, &bowrollv1.GetPlanRequest{Name: c.name()})
	if err != nil {
		return nil, nil, err
	}
	var ids []string
	for _, s := range plan.GetSorties() {
		ids = append(ids, s.GetId())
	}
	for _, wanted := range c.Sortie {
		if !slices.Contains(ids, wanted) {
			return nil, nil, badInput{fmt.Errorf("--sortie %s: %s launches %s", wanted, c.name(), strings.Join(ids, ", "))}
		}
	}
	sources, err := gather.KeptCards(p.ctx, to, plan, c.drops)
	if other := (*gather.ModelChanged)(nil); errors.As(err, &other) {
		return nil, nil, badInput{err}
	} else if err != nil {
		return nil, nil, err
	}
	if len(c.Sortie) > 0 {
		sources = slices.DeleteFunc(sources, func(s card.Sources) bool { return !slices.Contains(c.Sortie, s.Launch.GetSortie()) })
	}
	return plan, sources, nil
}

// upToDate makes sure that a card is issued on nothing that is known to have
// changed since the plan was made.
func upToDate(plan *bowrollv1.Plan, sources []card.Sources) error {
	for _, s := range sources {
		if s.Since != nil && len(s.Since.Changed) > 0 {
			return badInput{fmt.Errorf("%s was planned with catalog %s, and %s, in force now, differs in what %s uses: %s; no card is issued: save the cycle as a new plan and issue its cards, or print what was issued by leaving --issue out",
				plan.GetName(), plan.GetPinned().GetCatalogRevision(), s.Since.Revision, s.Launch.GetSortie(), strings.Join(s.Since.Changed, ", "))}
		}
	}
	return nil
}

// issueAll issues a card for each sortie that waits for one and that no reason
// stands against, and returns the plan as it then is.
func (c *cardsCommand) issueAll(p *program, to *client.Client, plan *bowrollv1.Plan, sources []card.Sources, until *timestamppb.Timestamp, flags actFlags, report *report) (*bowrollv1.Plan, error) {
	var out []string
	for i, s := range sources {
		id := s.Launch.GetSortie()
		report.say("issuing that of " + id)
		report.counted(i, len(sources))
		if !waits(gather.PlanSortie(plan, id)) {
			continue
		}
		trial, err := card.Build(s, card.Issue{})
		if err != nil {
			return nil, err
		}
		if len(trial.Refusals) > 0 {
			continue
		}
		sum := sha256.Sum256([]byte(flags.RequestID + "/" + id)) // each card is a request of its own
		issued, err := to.Plans.IssueCard(p.ctx, &bowrollv1.IssueCardRequest{
			Name: c.name(), Sortie: id, UntilTime: until, Actor: flags.Actor, RequestId: hex.EncodeToString(sum[:16]),
		})
		if err != nil {
			if len(out) > 0 {
				return nil, partly{err, fmt.Sprintf("issued %s and then stopped at %s; nothing was printed: print what is issued by leaving --issue out", strings.Join(out, ", "), id)}
			}
			return nil, err
		}
		plan, out = issued, append(out, id)
	}
	report.counted(0, 0)
	report.say("reading them back")
	if len(out) == 0 {
		return plan, nil
	}
	return to.Plans.GetPlan(p.ctx, &bowrollv1.GetPlanRequest{Name: c.name()})
}
