package rpc

import "sync"

// runs keeps the memory of runs that have ended for those to come.
type runs struct{ ended sync.Pool }

// begin makes the model ready for a resolved case.
func (p *runs) begin(res *resolved) (*run, error) {
	r, ok := p.ended.Get().(*run)
	if !ok {
		r = new(run)
	}
	r.res, r.runner, r.parts = res, &r.own, nil
	return r, r.own.Reset(res.Setting)
}

// end gives a run's memory back. Nothing of the answer may point into it.
func (p *runs) end(r *run) {
	r.res, r.parts = nil, nil
	p.ended.Put(r)
}
