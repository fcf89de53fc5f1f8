package rpc

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sort"

	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/perf"
	"bowroll/perf/chance"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
)

// versions tells of every version of the model.
func versions() []*bowrollv1.ModelVersion {
	var list []*bowrollv1.ModelVersion
	for _, v := range perf.Versions() {
		list = append(list, &bowrollv1.ModelVersion{Version: v.Version, Date: v.Date, Changes: v.Changes, Computes: v.Version == perf.ModelVersion})
	}
	return list
}

// defaultSource is where the standard deviations come from that nobody stated.
const defaultSource = "a policy from memory, of the size that flight test reports give; no published source"

// dispersionsInUse are the standard deviations that hold where a case gives
// none: the defaults, then what booster types of the catalog state.
func dispersionsInUse(snapshot *catalog.Snapshot) []*bowrollv1.DispersionUsed {
	list := statedIn(dispersionsUsed(nil, nil), "default", defaultSource)
	for _, t := range snapshot.BoosterTypes() {
		kind := boosterType(t)
		source := t.GetSource()
		if source == "" {
			source = "the catalog, which names no source"
		}
		list = append(list, statedIn(&bowrollv1.Dispersions{
			UnitThrustSigma: kind.ThrustSigma, UnitBurnTimeSigma: kind.BurnTimeSigma,
			IgnitionDelaySigmaS: kind.IgnitionDelaySigmaS, DudProbability: kind.DudProbability,
		}, t.GetName(), source)...)
	}
	return list
}

// statedIn lists what a message of dispersions states, in the contract's order.
func statedIn(d *bowrollv1.Dispersions, scope, source string) []*bowrollv1.DispersionUsed {
	var list []*bowrollv1.DispersionUsed
	m := d.ProtoReflect()
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		if fd := fields.Get(i); m.Has(fd) && fd.Kind() == protoreflect.DoubleKind {
			list = append(list, &bowrollv1.DispersionUsed{Quantity: string(fd.Name()), Scope: scope, Value: m.Get(fd).Float(), Source: source})
		}
	}
	return list
}

// digest stands for what the model computes: its version and constants, the
// default dispersions, and the figures of the published checks to nine digits,
// which processors agree on. The catalog is not in it.
func (m *Model) computeDigest() (string, error) {
	h := sha256.New()
	fmt.Fprintf(h, "%s\n", perf.ModelVersion)
	for _, c := range constants() {
		fmt.Fprintf(h, "%s %.17g\n", c.GetId(), c.GetValue())
	}
	fmt.Fprintf(h, "%+v\n", chance.DefaultDispersions())
	rows := append(m.rows[:0:0], m.rows...)
	sort.Slice(rows, func(i, j int) bool { return rows[i].ID < rows[j].ID })
	for _, row := range rows {
		check, err := row.Check()
		if err != nil {
			return "", err
		}
		fmt.Fprintf(h, "%s %.9g\n", check.GetId(), check.GetComputed())
	}
	return "sha256:" + hex.EncodeToString(h.Sum(nil)[:16]), nil
}
