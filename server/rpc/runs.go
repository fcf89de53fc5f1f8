package rpc

import "sync"

// runs keeps the memory of runs that have ended for those to come.
type runs struct{ ended sync.Pool }

// begin is a run that nothing was resolved for yet.
func (p *runs) begin() *run {
	r, ok := p.ended.Get().(*run)
	if !ok {
		r = new(run)
		r.runner = &r.own
		r.res = &resolved{memory: new(caseMemory)}
	}
	return r
}

// end gives a run's memory back. Nothing of the answer may point into it.
func (p *runs) end(r *run) {
	r.parts = surroundings{}
	p.ended.Put(r)
}
