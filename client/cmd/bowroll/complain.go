package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"syscall"

	"google.golang.org/grpc/codes"

	"bowroll/client"
	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// badInput marks an error as the caller's.
type badInput struct{ error }

func (b badInput) Unwrap() error { return b.error }

// refused is an error of the service with the document that asked, so that each
// violation can be shown where it was written.
type refused struct {
	error
	index  *cycle.Index
	within string // field of the request that holds the document, e.g. "cycle."
}

func (r refused) Unwrap() error { return r.error }

// partly is an error after some of what was asked for was done.
type partly struct {
	error
	done string // what was, and what to do now
}

func (e partly) Unwrap() error { return e.error }

// finish says what went wrong, if anything did, and returns the exit code.
func (p *program) finish(err error) int {
	undone := "nothing was computed"
	if p.changing {
		undone = "nothing was changed"
	}
	var some partly
	if errors.As(err, &some) {
		undone = some.done
	}
	switch {
	case err == nil, errors.Is(err, syscall.EPIPE):
		return exitAnswered
	case errors.Is(err, errNothing):
		return exitNothing
	case p.ctx.Err() != nil && errors.Is(p.ctx.Err(), context.Canceled):
		var said []string
		if some.error != nil {
			said = append(said, some.done)
		}
		var open interface{ hint() string }
		if errors.As(err, &open) {
			said = append(said, open.hint())
		}
		fmt.Fprintln(p.stderr, "bowroll: stopped; "+cmp.Or(strings.Join(said, "; "), "nothing was changed"))
		return exitStopped
	}
	code, body := exitService, &problem{Code: "UNKNOWN", Message: err.Error()}
	if errors.As(err, &badInput{}) {
		code, body.Code = exitBadInput, "INVALID_ARGUMENT"
	}
	var faults cycle.Faults
	if errors.As(err, &faults) {
		code, body = exitBadInput, faulty(faults)
	} else if r, ok := client.AsRefusal(err); ok {
		body = refusal(err, r)
		// This program's own patience, for which the transport has several words. A
		// service that runs out of time gives its reason.
		if r.Code == codes.Canceled || r.Code == codes.DeadlineExceeded && r.Reason == "" {
			body.Code = codeName(codes.DeadlineExceeded)
			body.Message = fmt.Sprintf("no answer within %s\n  help: give it longer with --timeout, or ask for less at once", p.line.Timeout)
		}
		if help := p.whoCalls(r.Code); help != "" {
			body.Message += "\n  help: " + help
		}
		if r.BadInput() {
			code = exitBadInput
		}
	}
	body.undone = undone
	if some.error != nil && (p.line.Format == "json" || len(body.Violations) == 0) {
		body.Message += "; " + some.done
	}
	if open := (*unknownOutcome)(nil); errors.As(err, &open) {
		body.Message += "\n  help: " + open.hint()
	}
	if p.line.Format == "json" {
		body.json(p.stderr)
	} else {
		body.text(p.stderr)
	}
	return code
}

// A problem is what went wrong, in the form that every entry to the service
// uses, with the place of each violation added.
type problem struct {
	Code       string      `json:"code"`
	Message    string      `json:"message"`
	Violations []violation `json:"violations"`

	undone string // what was not done, or what was all the same
}

type violation struct {
	Place   string `json:"place"`
	Field   string `json:"field"`
	Value   string `json:"value"`
	Rule    string `json:"rule"`
	Allowed string `json:"allowed"`
	Hint    string `json:"hint"`

	path string // the field as the document calls it
	text string // what is wrong, in words
	line int    // for the order of the file
}

// faulty is a document that could not be read.
func faulty(faults cycle.Faults) *problem {
	body := &problem{Code: "INVALID_ARGUMENT", Message: count(len(faults), "fault") + " in what was written"}
	for _, f := range faults {
		place, field := f.Place.String(), f.Path
		if flag, ok := flagOf(f); ok {
			place, field = flag, ""
			f.Hint = flagHint(f, flag)
		} else if flags := flagsBelow(f.Path); missing(f) && len(flags) > 0 && f.Place.File == commandLineName {
			// What holds several keys is no flag; those that set its keys are.
			place, f.Hint = commandLineName, "give it with "+strings.Join(flags, " or ")
		}
		body.Violations = append(body.Violations, violation{place, f.Path, f.Value, "written", f.Allowed, f.Hint, field, f.Problem, f.Place.Line})
	}
	return body
}

// flagOf names the flag that a fault of the command line is about.
func flagOf(f cycle.Fault) (string, bool) {
	key := strings.HasPrefix(f.Place.Flag, "--set ")
	if flag, ok := casePaths()[f.Path]; ok && (missing(f) || !key) && (f.Place.File == commandLineName || f.Place.Flag == flag) {
		return flag, true
	}
	return f.Place.Flag, key
}

func missing(f cycle.Fault) bool { return f.Problem == "is missing" }

// flagHint turns a hint that shows a key of a file into one that shows its flag.
func flagHint(f cycle.Fault, flag string) string {
	key := f.Path[strings.LastIndexByte(f.Path, '.')+1:]
	if before, value, ok := strings.Cut(f.Hint, "write it, e.g. "+key+": "); ok {
		return before + "give it, e.g. " + flag + ` "` + value + `"`
	}
	if missing(f) {
		return strings.Replace(f.Hint, "write it", "give it with "+flag, 1)
	}
	if lead, rest, ok := strings.Cut(f.Hint, "e.g. "+key+": "); ok { // as a file writes it
		return lead + "e.g. " + flag + ` "` + rest + `"`
	}
	return f.Hint
}

// flagsBelow are the flags that set a key of what stands at a path.
func flagsBelow(path string) []string {
	var flags []string
	for below, flag := range casePaths() {
		if strings.HasPrefix(below, path+".") {
			flags = append(flags, flag)
		}
	}
	slices.Sort(flags)
	return flags
}

// refusal is a request that the service would not answer.
func refusal(err error, r *client.Refusal) *problem {
	body := &problem{Code: codeName(r.Code), Message: r.Message}
	if r.Code == codes.Unimplemented {
		body.Message += "; the service does not offer this: it keeps nothing unless bowrolld is started with --store, or it is another version than this program"
	}
	var asked refused
	_ = errors.As(err, &asked)
	for _, v := range r.Violations {
		said := violation{"", v.GetField(), strings.Trim(v.GetValue(), `"`), v.GetRule(), v.GetAllowed(), v.GetHint(), v.GetField(), ruleText(v), 0}
		if asked.index != nil {
			asked.locate(&said, strings.TrimPrefix(v.GetField(), asked.within))
		}
		body.Violations = append(body.Violations, said)
	}
	slices.SortStableFunc(body.Violations, func(a, b violation) int { return cmp.Compare(a.line, b.line) })
	return body
}

// locate says of a violation where it was written, and as what.
func (r refused) locate(v *violation, field string) {
	at, path := r.index.Find(field)
	v.Place, v.path, v.line = at.String(), path, at.Line
	if flag, ok := casePaths()[path]; ok && (at.File == commandLineName || at.Flag != "") {
		v.Place, v.path = flag, ""
	}
	if written := r.index.Written(field); written != "" && written != v.Value {
		// The service speaks SI: show what stands in the file as well.
		v.text += fmt.Sprintf(" (%s is %s)", field[strings.LastIndexByte(field, '.')+1:], v.Value)
		v.Value, v.Hint = written, cycle.SlipHint(v.Hint, written)
	}
}

// rules says in words what each rule of the service asks.
var rules = map[string]string{
	"required":  "is missing",
	"range":     "is out of range",
	"known":     "is not known",
	"unique":    "is given twice",
	"once":      "is given more than once",
	"order":     "is out of order",
	"type":      "is of the wrong kind",
	"enum":      "is not known",
	"pattern":   "has the wrong form",
	"length":    "has the wrong length",
	"size":      "is too much",
	"band":      "is not what is believed of it",
	"loading":   "is no loading of the type",
	"goes-with": "does not stand by itself",
	"same":      "is not the same",
	"absent":    "must not be given",
}

// ruleText says in words which rule a violation broke.
func ruleText(v *bowrollv1.Violation) string {
	if text, ok := rules[v.GetRule()]; ok {
		return text
	}
	return "is not accepted (" + v.GetRule() + ")"
}

// codeName is the canonical name of a code, e.g. INVALID_ARGUMENT.
func codeName(c codes.Code) string {
	var b strings.Builder
	for i, r := range c.String() {
		if i > 0 && r >= 'A' && r <= 'Z' {
			b.WriteByte('_')
		}
		b.WriteRune(r)
	}
	return strings.ToUpper(b.String())
}

// json writes the problem as the service's error body.
func (b *problem) json(w io.Writer) {
	if b.Violations == nil {
		b.Violations = []violation{}
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	_ = encoder.Encode(b) // there is nowhere left to say that stderr is gone
}

// text writes the problem for people: one line a fault that an editor can jump
// to, what is allowed and what to do below it.
func (b *problem) text(w io.Writer) {
	if len(b.Violations) == 0 {
		fmt.Fprintf(w, "bowroll: %s\n", b.Message)
		return
	}
	for _, v := range b.Violations {
		line := v.Place
		if v.path != "" && line != "" {
			line += ": "
		}
		line += v.path
		if v.Value != "" {
			line += fmt.Sprintf(" %q", v.Value)
		}
		if line == "" && v.Hint != "" { // of the request as a whole the hint says it all
			fmt.Fprintln(w, v.Hint)
			continue
		}
		fmt.Fprintf(w, "%s: %s\n", line, v.text)
		if v.Allowed != "" {
			fmt.Fprintf(w, "    allowed: %s\n", v.Allowed)
		}
		if v.Hint != "" {
			fmt.Fprintf(w, "    hint: %s\n", v.Hint)
		}
	}
	fmt.Fprintf(w, "bowroll: %s; %s\n", count(len(b.Violations), "fault"), b.undone)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
