package main

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	"bowroll/perf/quantity"
)

// actFlags are what every command that changes something says of itself.
type actFlags struct {
	Actor     string `help:"Who acts. The log keeps it for good." placeholder:"NAME" env:"BOWROLL_ACTOR" required:"" group:"Record"`
	RequestID string `name:"request-id" help:"Id of this request: the same again gets the first answer and changes nothing. Made at random unless given." placeholder:"ID" group:"Record"`
}

// reasonFlag is for commands whose entry in the log says why.
type reasonFlag struct {
	Reason string `help:"Why. The log keeps it for good." placeholder:"TEXT" required:"" group:"Record"`
}

// request returns the id to send: the one given, or 32 random hexadecimal digits.
func (f actFlags) request(p *program) (string, error) {
	if f.RequestID != "" {
		return f.RequestID, nil
	}
	var b [16]byte
	if _, err := io.ReadFull(p.random, b[:]); err != nil {
		return "", fmt.Errorf("no random request id could be made: %w; give one with --request-id", err)
	}
	return hex.EncodeToString(b[:]), nil
}

// change asks for something that changes the store, under a request id. Where it
// is not known whether it was done, the error says how to find out.
func change[T proto.Message](p *program, f actFlags, what string, call func(to *client.Client, id string) (T, error), draw func(io.Writer, sheet.Style, T) error) (answer T, err error) {
	p.changing = true
	if err := p.keeps(); err != nil {
		return answer, err
	}
	id, err := f.request(p)
	if err != nil {
		return answer, err
	}
	answer, err = ask(p, what, func(to *client.Client) (T, error) { return call(to, id) }, draw)
	if err != nil && unsettled(p, err) {
		err = &unknownOutcome{err, append([]string{"--request-id", id}, p.again...)}
	}
	return answer, err
}

// keeps refuses a command that needs a store where none is named.
func (p *program) keeps() error {
	if p.line.Store == "" && p.line.Server == "" {
		return badInput{errors.New("stock, plans, catalog changes, observed runs and sweeps are kept in a store: name a file with --store FILE (made where there is none), or a service with --server")}
	}
	return nil
}

// unsettled reports whether a change may have been done although its answer is
// not here.
func unsettled(p *program, err error) bool {
	if p.ctx.Err() != nil {
		return true
	}
	r, ok := client.AsRefusal(err)
	return ok && (r.Code == codes.DeadlineExceeded || r.Code == codes.Unavailable || r.Code == codes.Canceled)
}

// unknownOutcome is a change of which no answer came.
type unknownOutcome struct {
	error
	// flags make the same command the same request.
	flags []string
}

func (u *unknownOutcome) Unwrap() error { return u.error }

// hint says how to settle it.
func (u *unknownOutcome) hint() string {
	return "whether it was done is not known: send the same command again with " + strings.Join(u.flags, " ") + ", which does it once or gives the first answer"
}

// siteName takes a site by id or resource name.
func siteName(site string) string { return "sites/" + strings.TrimPrefix(site, "sites/") }

// typeName takes a booster type by id or resource name.
func typeName(id string) string { return "boosterTypes/" + strings.TrimPrefix(id, "boosterTypes/") }

// childName takes something of a site by id or resource name.
func childName(site, collection, id string) string {
	prefix := siteName(site) + "/" + collection + "/"
	return prefix + strings.TrimPrefix(id, prefix)
}

// instant reads an instant that a flag gives: RFC 3339, or a time from now as a
// quantity ("90 min").
func (p *program) instant(flag, text string) (*timestamppb.Timestamp, error) {
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return timestamppb.New(at), nil
	}
	if seconds, err := quantity.Parse(quantity.Time, text); err == nil && seconds >= 0 && seconds <= 366*86400 {
		at := timestamppb.New(p.now().Add(time.Duration(seconds * float64(time.Second))))
		p.again = append(p.again, flag, at.AsTime().Format(time.RFC3339Nano))
		return at, nil
	}
	return nil, cycle.Faults{{
		Place: cycle.Place{File: commandLineName, Flag: flag}, Value: text, Problem: "is not read as an instant",
		Allowed: "RFC 3339 with an offset, or a time from now", Hint: "e.g. " + flag + ` 2041-03-07T07:30:00Z, or ` + flag + ` "90 min"`,
	}}
}

// mostSerials is how many units one command names at most.
const mostSerials = 10000

// serials spells out units: each by its serial, or a run of them by the first and
// the last, "em-001..em-040".
func serials(texts []string) ([]string, error) {
	var list []string
	for _, text := range texts {
		first, last, isRun := strings.Cut(text, "..")
		if !isRun {
			list = append(list, text)
			continue
		}
		run, ok := spell(first, last)
		if !ok {
			return nil, cycle.Faults{{
				Place: cycle.Place{File: commandLineName, Flag: "UNIT"}, Value: text, Problem: "is not read as a run of serials",
				Allowed: "two serials that differ in their last digits alone, the lesser first, as many digits each, at most 10000", Hint: "e.g. em-001..em-040",
			}}
		}
		list = append(list, run...)
	}
	return list, nil
}

func spell(first, last string) ([]string, bool) {
	stem := strings.TrimRight(first, "0123456789")
	digits := len(first) - len(stem)
	if digits == 0 || digits > 9 || len(last) != len(first) || !strings.HasPrefix(last, stem) {
		return nil, false
	}
	from, err1 := strconv.Atoi(first[len(stem):])
	to, err2 := strconv.Atoi(last[len(stem):])
	if err1 != nil || err2 != nil || to < from || to-from >= mostSerials {
		return nil, false
	}
	run := make([]string, 0, to-from+1)
	for n := from; n <= to; n++ {
		run = append(run, fmt.Sprintf("%s%0*d", stem, digits, n))
	}
	return run, true
}
