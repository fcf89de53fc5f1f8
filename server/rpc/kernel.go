package rpc

import (
	"buf.build/go/protovalidate"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
)

// Kernel is the model's part of one answer and nothing else: no message is read,
// checked, made or written. The service's own cost is measured against it. Its
// zero value is not usable and it is not safe for concurrent use.
type Kernel struct {
	res      *resolved
	want     sections
	runner   takeoff.Runner
	schedule booster.Schedule
}

// NewKernel resolves a request once.
func NewKernel(validator protovalidate.Validator, snapshot *catalog.Snapshot, req *bowrollv1.TakeoffsComputeRequest) (*Kernel, error) {
	r := newResolver(validator, snapshot, 1)
	res, found, err := r.resolve("case", req.GetCase())
	if err != nil {
		return nil, err
	}
	return &Kernel{res: res, want: sectionSet(req.GetSections())}, refusal.Invalid(found)
}

// Compute makes the runner ready and assesses the take-off, as every answer does.
func (k *Kernel) Compute() error {
	if err := k.runner.Reset(k.res.Setting); err != nil {
		return err
	}
	k.runner.Assess(&k.schedule, nominalPlan(k.res, k.want), demand(k.res))
	return nil
}
