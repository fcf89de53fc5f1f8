package main

import (
	"context"
	"fmt"
	"runtime"
	"strings"
	"time"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// workerFlags say how a store of this program's own is computed.
type workerFlags struct {
	Workers int `help:"Parts computed at once where this program does the computing; one for each processor unless given." placeholder:"N"`
}

// take makes this program compute the sweeps of its store.
func (f workerFlags) take(p *program) error {
	switch {
	case f.Workers < 0:
		return badInput{fmt.Errorf("--workers %d is no number of parts: 1 or more", f.Workers)}
	case f.Workers == 0:
		p.workers = runtime.GOMAXPROCS(0)
	default:
		p.workers = f.Workers
	}
	return nil
}

type sweepWatchCommand struct {
	sweepArgs
	workerFlags
}

func (*sweepWatchCommand) Help() string {
	return `With --store and no service this program computes what is left, whoever began it; other
sweeps of the store that wait are computed in their turn. Exits with 1 where the sweep was
cancelled or has failed.`
}

func (c *sweepWatchCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	return c.watch(p, c.name())
}

// How often a sweep is asked how far it is: soon at first, for the short ones.
const (
	firstLook = 50 * time.Millisecond
	laterLook = time.Second
)

// watch waits until a sweep has ended, computing it where the store is this
// program's own, and shows it.
func (f workerFlags) watch(p *program, name string) error {
	if err := f.take(p); err != nil {
		return err
	}
	report := &report{what: name[strings.LastIndexByte(name, '/')+1:], open: true}
	ended, err := askTelling(p, report, func(to *client.Client) (*bowrollv1.Sweep, error) {
		for wait := firstLook; ; wait = min(2*wait, laterLook) {
			got, err := to.Sweeps.GetSweep(p.ctx, &bowrollv1.GetSweepRequest{Name: name})
			if err != nil || got.GetState() > bowrollv1.SweepState_SWEEP_STATE_RUNNING {
				return got, err
			}
			report.counted(int(got.GetRowDoneCount()), int(got.GetRowCount()))
			report.say(sheet.SweepProgress(got))
			if err := pause(p.ctx, wait); err != nil {
				return nil, err
			}
		}
	}, sheet.Sweep)
	switch {
	case err != nil && p.ctx.Err() != nil:
		return &leftOff{err, name}
	case err == nil && ended.GetState() != bowrollv1.SweepState_SWEEP_STATE_DONE:
		return errNothing
	}
	return err
}

// pause waits, unless it is stopped before.
func pause(ctx context.Context, wait time.Duration) error {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// leftOff is a sweep that goes on another time.
type leftOff struct {
	error
	name string
}

func (l *leftOff) Unwrap() error { return l.error }

func (l *leftOff) hint() string {
	site, sweep, _ := strings.Cut(strings.TrimPrefix(l.name, "sites/"), "/sweeps/")
	return "what was computed is kept; bowroll sweep watch " + site + " " + sweep + " goes on with the rest"
}
