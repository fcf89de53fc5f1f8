package rpc

import (
	"context"
	"fmt"
	"strings"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
	"bowroll/server/store"
)

// Observations answers the observations service over a catalog in a store.
type Observations struct {
	bowrollv1.UnimplementedObservationsServer
	keeper
	kept     *KeptCatalog
	resolver resolver
	watch    *DriftWatch
}

// NewObservations returns the observations service over one state of a kept
// catalog. What it finds of drift it tells watch, which may be nil.
func NewObservations(kept *KeptCatalog, validator protovalidate.Validator, snapshot *catalog.Snapshot, watch *DriftWatch) *Observations {
	return &Observations{
		keeper: keeper{store: kept.store, snapshot: snapshot, now: kept.now}, kept: kept,
		resolver: resolver{validator: validator, catalog: newLibrary(snapshot)}, watch: watch,
	}
}

// write runs a change of rows of a site and returns its answer; the same request
// sent again gets the first answer.
func (o *Observations) write(ctx context.Context, site, method string, r mutation, into proto.Message,
	change func(ctx context.Context, tx store.Tx, actor string, now time.Time) (proto.Message, error)) error {
	actor, err := actorOf(ctx, r.GetActor())
	if err != nil {
		return refused(err)
	}
	now := store.FromMicros(store.Micros(o.now()))
	request := store.Request{ID: r.GetRequestId(), Method: method, Hash: hashOf(r), Time: now}
	result, _, err := o.store.Update(ctx, site, request, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		made, err := change(ctx, tx, actor, now)
		if err != nil {
			return nil, err
		}
		return encoded(made), nil
	})
	if err != nil {
		return refused(err)
	}
	if err := proto.Unmarshal(result, into); err != nil {
		return fmt.Errorf("the answer kept for a request cannot be read: %w", err)
	}
	return nil
}

// RecordRun records one run.
func (o *Observations) RecordRun(ctx context.Context, r *bowrollv1.RecordRunRequest) (*bowrollv1.ObservedRun, error) {
	site, err := o.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	_, faults, err := o.resolver.observedRun("observed_run", r.GetParent(), r.GetObservedRun())
	if err != nil {
		return nil, err
	}
	sent := r.GetObservedRun()
	name := r.GetParent() + "/observedRuns/" + r.GetObservedRunId()
	if sent.GetName() != "" && sent.GetName() != name {
		faults = append(faults, &bowrollv1.Violation{Field: "observed_run.name", Value: sent.GetName(), Rule: "same", Allowed: name})
	}
	if sent.GetSupersedes() != "" && r.GetEtag() == "" {
		faults = append(faults, &bowrollv1.Violation{Field: "etag", Rule: "required", Allowed: "the etag under which " + sent.GetSupersedes() + " was read"})
	}
	if err := refusal.Invalid(faults); err != nil {
		return nil, err
	}
	into := &bowrollv1.ObservedRun{}
	err = o.write(ctx, site, "RecordRun", r, into, func(ctx context.Context, tx store.Tx, actor string, now time.Time) (proto.Message, error) {
		if err := flown(ctx, tx, sent); err != nil {
			return nil, err
		}
		run := store.ObservedRun{
			Site: site, ID: r.GetObservedRunId(), AircraftType: sent.GetConditions().GetAircraftType(), Tail: sent.GetTail(),
			Deck: sent.GetConditions().GetDeck(), Lot: sent.GetLot(), Plan: sent.GetPlan(), Sortie: sent.GetSortie(),
			LaunchTime: sent.GetLaunchTime().AsTime(), Supersedes: lastPart(sent.GetSupersedes()), Actor: actor,
			ModelVersion: perf.ModelVersion, CatalogRevision: o.snapshot.Revision(), Body: encoded(bareRun(sent)), CreateTime: now,
		}
		if run.Supersedes != "" {
			if err := seen(ctx, tx, run.Supersedes, r.GetEtag()); err != nil {
				return nil, err
			}
		}
		if err := tx.InsertObservedRun(ctx, run); err != nil {
			return nil, err
		}
		m, err := runMessage(run)
		if err == nil {
			m.Provenance = provenance(o.snapshot, r)
		}
		return m, err
	})
	return into, err
}

// flown checks that the plan and the sortie of a run are there.
func flown(ctx context.Context, tx store.Tx, run *bowrollv1.ObservedRun) error {
	if run.GetPlan() == "" {
		return nil
	}
	plan, err := tx.Plan(ctx, run.GetPlan())
	if err != nil {
		return err
	}
	names := make([]string, len(plan.Sorties))
	for i, s := range plan.Sorties {
		if names[i] = s.ID; s.ID == run.GetSortie() {
			return nil
		}
	}
	return store.Errorf(store.NotFound, "SORTIE_NOT_FOUND", "plan %s has no sortie %q: it has %s", plan.ID, run.GetSortie(), strings.Join(names, ", ")).
		At("observed_run.sortie").With("plan", plan.ID)
}

// seen checks that a record is as the caller saw it.
func seen(ctx context.Context, tx store.Tx, id, tag string) error {
	old, err := tx.ObservedRun(ctx, id)
	if err != nil {
		return err
	}
	if now := runEtag(old); now != tag && old.SupersededBy == "" {
		return store.Errorf(store.Changed, "ETAG_MISMATCH", "observed run %s was changed since it was read (etag %s, now %s): read it again and decide anew", id, tag, now).At("etag")
	}
	return nil // that it is superseded is said by name when it is written
}

// runEtag stands for the two states of a record.
func runEtag(run store.ObservedRun) string {
	if run.SupersededBy != "" {
		return etag(2)
	}
	return etag(1)
}

// lastPart is the id in a resource name.
func lastPart(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// bareRun is a run as it is kept: without what answers add.
func bareRun(m *bowrollv1.ObservedRun) *bowrollv1.ObservedRun {
	m = proto.CloneOf(m)
	m.Name, m.SupersededBy, m.RecordedBy, m.Etag = "", "", "", ""
	m.CreateTime, m.Pinned, m.Provenance = nil, nil, nil
	return m
}

// runMessage is a run as the contract shows it.
func runMessage(run store.ObservedRun) (*bowrollv1.ObservedRun, error) {
	m := &bowrollv1.ObservedRun{}
	if err := proto.Unmarshal(run.Body, m); err != nil {
		return nil, &store.Error{Class: store.Corrupt, Reason: "ROW_UNREADABLE", Text: "observed run " + run.ID + " cannot be read", Err: err}
	}
	m.Name = runName(run.Site, run.ID)
	if run.SupersededBy != "" {
		m.SupersededBy = runName(run.Site, run.SupersededBy)
	}
	m.RecordedBy, m.CreateTime, m.Etag = run.Actor, stamp(run.CreateTime), runEtag(run)
	m.Pinned = &bowrollv1.Provenance{ModelVersion: run.ModelVersion, CatalogRevision: run.CatalogRevision}
	return m, nil
}

func runName(site, id string) string { return "sites/" + site + "/observedRuns/" + id }

// GetObservedRun returns one run.
func (o *Observations) GetObservedRun(ctx context.Context, r *bowrollv1.GetObservedRunRequest) (m *bowrollv1.ObservedRun, err error) {
	site, id, err := o.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	err = o.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		run, err := reader.ObservedRun(ctx, id)
		if err != nil {
			return err
		}
		if m, err = runMessage(run); err == nil {
			m.Provenance = provenance(o.snapshot, r)
		}
		return err
	})
	return m, err
}

// chosen is a request that chooses runs.
type chosen interface {
	GetAircraftType() string
	GetTail() string
	GetDeck() string
	GetLot() string
	GetPlan() string
}

// runFilter is what a request chooses as the store knows it.
func runFilter(f chosen) store.ObservedRunFilter {
	return store.ObservedRunFilter{
		AircraftType: f.GetAircraftType(), Tail: f.GetTail(), Deck: f.GetDeck(), Lot: f.GetLot(), Plan: f.GetPlan(),
	}
}

// ListObservedRuns returns a page of the runs of a site.
func (o *Observations) ListObservedRuns(ctx context.Context, r *bowrollv1.ListObservedRunsRequest) (*bowrollv1.ListObservedRunsResponse, error) {
	site, err := o.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	filter := runFilter(r)
	filter.Superseded = r.GetIncludeSuperseded()
	at, after, size, err := seek(r.GetParent()+"/observedRuns", fmt.Sprintf("%+v", filter), r.GetPageSize(), r.GetPageToken(), mostListed)
	if err != nil {
		return nil, err
	}
	answer := &bowrollv1.ListObservedRunsResponse{Provenance: provenance(o.snapshot, r)}
	err = o.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		runs, err := reader.ObservedRuns(ctx, filter, after, size+1)
		if err != nil {
			return err
		}
		if len(runs) > size {
			runs = runs[:size]
			answer.NextPageToken = next(at, runs[size-1].ID)
		}
		for _, run := range runs {
			m, err := runMessage(run)
			if err != nil {
				return err
			}
			answer.ObservedRuns = append(answer.ObservedRuns, m)
		}
		return nil
	})
	return answer, err
}
