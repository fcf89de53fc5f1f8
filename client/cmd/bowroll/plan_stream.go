package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/gather"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// planStream plans over the stream and reports how far it is.
func (p *program) planStream(to *client.Client, request *bowrollv1.CyclesPlanRequest, report *report) (*bowrollv1.CyclePlan, error) {
	ctx, cancel := context.WithTimeout(p.ctx, p.line.Timeout)
	defer cancel()
	plan, err := gather.Plan(ctx, to, request, func(at *bowrollv1.PlanProgress) {
		report.say(stage(at))
		report.counted(int(at.GetDoneCount()), int(at.GetTotalCount()))
	})
	return plan, late(ctx, err)
}

// late is the error of a stream that this program's deadline ended; else the error as
// it is. The service keeps the deadline too, and its word may come before this
// program's own timer is served: the clock decides.
func late(ctx context.Context, err error) error {
	deadline, ok := ctx.Deadline()
	if err != nil && ok && !time.Now().Before(deadline) {
		return status.FromContextError(context.DeadlineExceeded).Err()
	}
	return err
}

// stage says in a few words how far a plan is.
func stage(at *bowrollv1.PlanProgress) string {
	switch at.GetStage() {
	case bowrollv1.PlanStage_PLAN_STAGE_FITS:
		return fmt.Sprintf("fit %d of %d", at.GetDoneCount(), at.GetTotalCount())
	case bowrollv1.PlanStage_PLAN_STAGE_ALLOCATION:
		text := "allocating, " + strings.ReplaceAll(at.GetLevel(), "_", " ") + ", " + count(int(at.GetNodeCount()), "node")
		if at.BestPriority != nil && at.Bound != nil {
			text += fmt.Sprintf(", priority %d of at most %.0f", at.GetBestPriority(), at.GetBound())
		}
		return text
	case bowrollv1.PlanStage_PLAN_STAGE_ANSWER:
		return "the launches"
	}
	return ""
}

// misfires reads what --misfire says.
func misfires(flags []string) ([]*bowrollv1.Misfire, error) {
	var list []*bowrollv1.Misfire
	for _, flag := range flags {
		sortie, wait, given := strings.Cut(flag, "=")
		m := &bowrollv1.Misfire{Sortie: strings.TrimSpace(sortie)}
		if given {
			seconds, err := quantity.Parse(quantity.Time, strings.TrimSpace(wait))
			if err != nil {
				return nil, cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--misfire"}, Value: flag,
					Problem: "has no waiting time that can be read", Allowed: "0 to 24 h", Hint: `e.g. --misfire birch-2="15 min"`}}
			}
			m.WaitS = &seconds
		}
		list = append(list, m)
	}
	return list, nil
}

// earlier reads the launches of an earlier plan; no name reads none.
func (p *program) earlier(name string) ([]*bowrollv1.KeptLaunch, error) {
	if name == "" {
		return nil, nil
	}
	source, err := p.readUpTo(name, longestPlan)
	if err != nil {
		return nil, err
	}
	plan := &bowrollv1.CyclePlan{}
	if err := protojson.Unmarshal(source, plan); err != nil {
		return nil, badInput{fmt.Errorf("--keep %s holds no plan: %w; write one with bowroll --format json plan", name, err)}
	}
	return client.Kept(plan), nil
}

// exportLP writes the stages of an allocation into a folder, made where there is
// none.
func exportLP(folder string, plan interface{ GetLpStages() []string }) error {
	if folder == "" {
		return nil
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return badInput{err}
	}
	for i, text := range plan.GetLpStages() {
		name := filepath.Join(folder, fmt.Sprintf("stage%d.lp", i+1))
		if err := writeFile(name, func(w io.Writer) error { _, err := io.WriteString(w, text); return err }); err != nil {
			return badInput{err}
		}
	}
	return nil
}
