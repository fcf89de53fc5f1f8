package board

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"

	"bowroll/client"
	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/testdata"
)

func (b *board) home(w http.ResponseWriter, r *http.Request, v *visitor) error {
	answer, err := b.to.Model.GetModel(v.context(r.Context()), &bowrollv1.GetModelRequest{})
	if err != nil {
		return err
	}
	return b.write(w, v, http.StatusOK, view{Page: "home", Title: "Board", From: answer.GetProvenance(), Data: struct {
		May    map[string]bool
		Keeps  bool
		Recent []*job
		Grants []string
	}{b.offers(v), b.Keeps, b.jobs.of(v), grants(v)}})
}

// offers says which parts of the board the visitor may use, by name.
func (b *board) offers(v *visitor) map[string]bool {
	may := map[string]bool{}
	for _, l := range b.places(v, "") {
		may[l.Name] = true
	}
	return may
}

func grants(v *visitor) []string {
	var list []string
	for _, g := range v.who.Grants {
		list = append(list, g.String())
	}
	return list
}

// mostCycle is the most that a cycle file may hold.
const mostCycle = 1 << 20

// written is a cycle as it was sent, and what is wrong with it.
type written struct {
	File, Text string
	Prices     bool
	Faults     []fault
	Recent     []*job
	Said       string
	Example    bool // whether there is one to begin with
}

// A fault is one thing wrong with a file or a form.
type fault struct {
	Place, Path, Value, Problem, Allowed, Hint string
	Line                                       int
}

func (b *board) mayPlan(v *visitor) error {
	if v.may(bowrollv1.Cycles_PlanStream_FullMethodName, "") {
		return nil
	}
	return &problem{Code: http.StatusForbidden, Title: "Planning needs the role planner",
		Text: "You are " + v.who.Name + " with " + strings.Join(grants(v), ", ") + ". Planning a cycle needs the role planner at a site. Whoever issues tokens grants it."}
}

func (b *board) cyclePage(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.mayPlan(v); err != nil {
		return err
	}
	form := written{Recent: b.jobs.of(v)}
	// The example is of the catalog that is built in, which this service need not have.
	_, err := b.to.Catalog.GetDeck(v.context(r.Context()), &bowrollv1.GetDeckRequest{Name: b.example.deck})
	form.Example = err == nil
	if form.Example && r.URL.Query().Has("example") {
		form.File, form.Text = exampleFile, b.example.text
	}
	return b.write(w, v, http.StatusOK, view{Page: "cycle", Title: "Plan a launch cycle", Data: form})
}

// exampleFile is the cycle to begin with, of a ship that does not exist.
const exampleFile = "dawn.yaml"

// example is a cycle file that people may begin with.
type example struct{ text, deck string }

func readExample() (example, error) {
	text, err := testdata.Files.ReadFile("cycles/" + exampleFile)
	if err != nil {
		return example{}, err
	}
	asked, _, err := cycle.Read(exampleFile, text)
	return example{string(text), asked.GetDeck()}, err
}

// planCycle reads a cycle and begins to plan it.
func (b *board) planCycle(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.mayPlan(v); err != nil {
		return err
	}
	sent, source, err := cycleForm(r)
	if err != nil {
		return err
	}
	sent.Recent = b.jobs.of(v)
	if len(source) == 0 {
		sent.Said = "Choose a file or paste one: nothing was sent."
		return b.write(w, v, http.StatusUnprocessableEntity, view{Page: "cycle", Title: "Plan a launch cycle", Data: sent})
	}
	asked, index, err := cycle.Read(sent.File, source)
	var faults cycle.Faults
	if errors.As(err, &faults) {
		sent.Faults = faultsOf(faults)
		return b.write(w, v, http.StatusUnprocessableEntity, view{Page: "cycle", Title: "Faults in the cycle file", Data: sent})
	}
	if err != nil {
		return err
	}
	// The plan goes on while its page is closed, for as long as the service lets it.
	ctx, cancel := context.WithTimeout(v.context(context.WithoutCancel(r.Context())), longestPlan)
	j := &job{id: b.NewID(), session: v.session, who: v.who.Name, file: sent.File, source: source, asked: asked, index: index,
		begun: b.Now(), cancel: cancel, changed: make(chan struct{})}
	if err := b.jobs.add(j); err != nil {
		cancel()
		if busy := (errBusy{}); errors.As(err, &busy) {
			return &problem{Code: http.StatusTooManyRequests, Title: "One plan at a time", Text: "A plan of yours is still being worked on. Wait for it, or cancel it, and then plan this one.",
				Back: "/cycle/" + busy.job.id, BackName: "The plan being worked on"}
		}
		return err
	}
	go j.run(ctx, b.to, &bowrollv1.CyclesPlanRequest{Cycle: asked, IncludePrices: sent.Prices})
	http.Redirect(w, r, "/cycle/"+j.id, http.StatusSeeOther)
	return nil
}

// cycleForm reads the form: the file where one was chosen, else the text.
func cycleForm(r *http.Request) (sent written, source []byte, err error) {
	sent = written{File: "pasted text", Text: r.PostFormValue("text"), Prices: r.PostFormValue("prices") != ""}
	if name := r.PostFormValue("name"); name != "" {
		sent.File = fileName(name)
	}
	source = []byte(sent.Text)
	if r.MultipartForm != nil && len(r.MultipartForm.File["file"]) > 0 && r.MultipartForm.File["file"][0].Size > 0 {
		file, header, err := r.FormFile("file")
		if err != nil {
			return sent, nil, err
		}
		defer file.Close()
		if source, err = io.ReadAll(io.LimitReader(file, mostCycle+1)); err != nil {
			return sent, nil, err
		}
		sent.File, sent.Text = fileName(header.Filename), string(source)
	}
	if len(source) > mostCycle {
		return sent, nil, &problem{Code: http.StatusRequestEntityTooLarge, Title: "This is too large", Text: "A cycle file may hold 1 MiB here. Nothing was planned. Plan larger queues with the command line.",
			Back: "/cycle", BackName: "Back to the form"}
	}
	return sent, source, nil
}

// fileName is what a file is called in faults: its last part, of ordinary length.
func fileName(sent string) string {
	name := strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return -1
		}
		return r
	}, filepath.Base(strings.ReplaceAll(sent, `\`, "/")))
	if runes := []rune(name); len(runes) > 80 {
		name = string(runes[:80])
	}
	if name == "" || name == "." || name == "/" {
		return "file"
	}
	return name
}

func faultsOf(faults cycle.Faults) []fault {
	list := make([]fault, len(faults))
	for i, f := range faults {
		list[i] = fault{f.Place.String(), f.Path, f.Value, f.Problem, f.Allowed, f.Hint, f.Place.Line}
	}
	return list
}

// refusedCycle says of a plan that the service refused where each fault was
// written.
func refusedCycle(j *job, r *client.Refusal) []fault {
	var list []fault
	for _, v := range r.Violations {
		field := strings.TrimPrefix(v.GetField(), "cycle.")
		at, path := j.index.Find(field)
		value := strings.Trim(v.GetValue(), `"`)
		if text := j.index.Written(field); text != "" {
			value = text
		}
		list = append(list, fault{at.String(), path, value, broken(v), v.GetAllowed(), v.GetHint(), at.Line})
	}
	return list
}

// broken says in words which rule a violation broke.
func broken(v *bowrollv1.Violation) string {
	switch v.GetRule() {
	case "required":
		return "is missing"
	case "range":
		return "is out of range"
	case "known", "enum":
		return "is not known"
	case "unique":
		return "is given twice"
	case "order":
		return "is out of order"
	}
	return "is not accepted (" + v.GetRule() + ")"
}

// mine returns the job that the address names.
func (b *board) mine(r *http.Request, v *visitor) (*job, error) {
	if j := b.jobs.find(r.PathValue("job"), v); j != nil {
		return j, nil
	}
	return nil, &problem{Code: http.StatusNotFound, Title: "This plan is no longer here",
		Text: fmt.Sprintf("The board keeps a plan for %.0f hours, for the session that asked for it, and none over a restart. Planning changes nothing: send the cycle file again for the same plan.", keptFor.Hours()),
		Back: "/cycle", BackName: "Plan a cycle"}
}

// job shows a plan, or how far it is.
func (b *board) job(w http.ResponseWriter, r *http.Request, v *visitor) error {
	j, err := b.mine(r, v)
	if err != nil {
		return err
	}
	at := j.state()
	sent := written{File: j.file, Text: string(j.source)}
	switch refusal, refused := client.AsRefusal(at.err); {
	case !at.ended:
		return b.write(w, v, http.StatusOK, view{Page: "working", Title: "Planning " + j.asked.GetId(), Live: true, Data: struct {
			written
			ID string
			At progress
		}{sent, j.id, progressOf(j, at)}})
	case at.stopped:
		sent.Said = "The plan was cancelled. Nothing was changed."
		return b.write(w, v, http.StatusOK, view{Page: "cycle", Title: "Plan cancelled", Data: sent})
	case refused && len(refusal.Violations) > 0:
		sent.Faults = refusedCycle(j, refusal)
		return b.write(w, v, http.StatusUnprocessableEntity, view{Page: "cycle", Title: "Faults in the cycle", Data: sent})
	case at.err != nil:
		p := problemOf(at.err)
		sent.Said = p.Title + ". " + p.Text + " Nothing was changed: the plan may be asked for again."
		return b.write(w, v, p.Code, view{Page: "cycle", Title: "No plan came", Data: sent})
	}
	return b.planPage(w, r, v, j, at.plan)
}

// cancelJob stops the work on a plan.
func (b *board) cancelJob(w http.ResponseWriter, r *http.Request, v *visitor) error {
	j, err := b.mine(r, v)
	if err != nil {
		return err
	}
	if at := j.state(); !at.ended {
		j.change(func() { j.stopped = true })
		j.cancel()
		// It ends at once; the page that follows says so.
		for at = j.state(); !at.ended; at = j.state() {
			select {
			case <-at.changed:
			case <-r.Context().Done():
				return r.Context().Err()
			}
		}
	}
	http.Redirect(w, r, "/cycle/"+j.id, http.StatusSeeOther)
	return nil
}
