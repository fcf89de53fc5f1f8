package board

import (
	"context"
	"fmt"
	"sync"
	"time"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/gather"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Bounds on the plans that a board holds in memory.
const (
	// keptFor is how long a plan stays after it was asked for.
	keptFor = 2 * time.Hour
	// mostJobs are held in all, and mostOfSession of one session; the oldest that is
	// not being worked on goes first.
	mostJobs      = 128
	mostOfSession = 8
	// longestPlan is how long a plan may be worked on, as the service has it.
	longestPlan = 10 * time.Minute
)

// A job is a plan being worked on or answered.
type job struct {
	id, session, who string
	file             string // name of the file
	source           []byte // as it was sent
	asked            *bowrollv1.Cycle
	index            *cycle.Index
	begun            time.Time
	cancel           context.CancelFunc

	mu      sync.Mutex
	at      *bowrollv1.PlanProgress
	ended   bool
	stopped bool // by its owner
	plan    *bowrollv1.CyclePlan
	err     error
	changed chan struct{} // closed at the next change
}

// A state is where a job stands.
type state struct {
	at             *bowrollv1.PlanProgress
	ended, stopped bool
	plan           *bowrollv1.CyclePlan
	err            error
	changed        <-chan struct{}
}

func (j *job) state() state {
	j.mu.Lock()
	defer j.mu.Unlock()
	return state{j.at, j.ended, j.stopped, j.plan, j.err, j.changed}
}

// change changes the job and tells those who watch it.
func (j *job) change(how func()) {
	j.mu.Lock()
	defer j.mu.Unlock()
	how()
	close(j.changed)
	j.changed = make(chan struct{})
}

// run plans the cycle and ends the job.
func (j *job) run(ctx context.Context, to *client.Client, request *bowrollv1.CyclesPlanRequest) {
	defer j.cancel()
	plan, err := gather.Plan(ctx, to, request, func(at *bowrollv1.PlanProgress) { j.change(func() { j.at = at }) })
	j.change(func() { j.ended, j.plan, j.err = true, plan, err })
}

// jobs are the plans that a board holds.
type jobs struct {
	now func() time.Time

	mu   sync.Mutex
	list []*job // oldest first
}

func newJobs(now func() time.Time) *jobs { return &jobs{now: now} }

// errBusy says that a session has a plan being worked on.
type errBusy struct{ job *job }

func (errBusy) Error() string { return "a plan is being worked on" }

// add takes a job in. One session works on one plan at a time.
func (js *jobs) add(j *job) error {
	js.mu.Lock()
	defer js.mu.Unlock()
	js.sweep()
	mine := 0
	for _, other := range js.list {
		if other.session != j.session {
			continue
		}
		if !other.state().ended {
			return errBusy{other}
		}
		mine++
	}
	if mine >= mostOfSession {
		js.drop(func(o *job) bool { return o.session == j.session })
	}
	if len(js.list) >= mostJobs && !js.drop(func(o *job) bool { return o.state().ended }) {
		return &problem{Code: 429, Title: "The board has its hands full", Text: "Too many plans are being worked on. Nothing was planned. Try again in a minute."}
	}
	js.list = append(js.list, j)
	return nil
}

// drop lets the oldest job go that fits.
func (js *jobs) drop(fits func(*job) bool) bool {
	for i, j := range js.list {
		if fits(j) {
			js.list = append(js.list[:i:i], js.list[i+1:]...)
			return true
		}
	}
	return false
}

// sweep lets go what is old.
func (js *jobs) sweep() {
	oldest := js.now().Add(-keptFor)
	for js.drop(func(j *job) bool { return j.begun.Before(oldest) && j.state().ended }) {
	}
}

// find returns a job of a session and a person; nil is none of theirs.
func (js *jobs) find(id string, v *visitor) *job {
	js.mu.Lock()
	defer js.mu.Unlock()
	js.sweep()
	for _, j := range js.list {
		if j.id == id && j.session == v.session && j.who == v.who.Name {
			return j
		}
	}
	return nil
}

// of returns the jobs of a visitor, the latest first.
func (js *jobs) of(v *visitor) []*job {
	js.mu.Lock()
	defer js.mu.Unlock()
	js.sweep()
	var mine []*job
	for i := len(js.list) - 1; i >= 0; i-- {
		if j := js.list[i]; j.session == v.session && j.who == v.who.Name {
			mine = append(mine, j)
		}
	}
	return mine
}

// forget ends and drops the jobs of a session.
func (js *jobs) forget(session string) {
	js.mu.Lock()
	defer js.mu.Unlock()
	for _, j := range js.list {
		if j.session == session {
			j.cancel()
		}
	}
	for js.drop(func(j *job) bool { return j.session == session }) {
	}
}

// What pages read of a job.

// ID names the job.
func (j *job) ID() string { return j.id }

// Name is what the cycle is called.
func (j *job) Name() string {
	if name := j.asked.GetDisplayName(); name != "" {
		return name
	}
	return j.asked.GetId()
}

// Begun is when it was asked for.
func (j *job) Begun() time.Time { return j.begun }

// Standing is how it went.
func (j *job) Standing() string {
	switch at := j.state(); {
	case !at.ended:
		return "being worked on"
	case at.stopped:
		return "cancelled"
	case at.err != nil:
		return "no plan came"
	default:
		return fmt.Sprintf("%d launch, %d held", len(at.plan.GetLaunches()), len(at.plan.GetHeld()))
	}
}
