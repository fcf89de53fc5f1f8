package catalog

import (
	"strconv"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
)

// Contents is everything in a snapshot, in the order of kinds and names. The
// items are the snapshot's own.
func (s *Snapshot) Contents() *bowrollv1.CatalogContents {
	return &bowrollv1.CatalogContents{
		AircraftTypes: s.aircraft.sorted, BoosterTypes: s.boosters.sorted, Sites: s.sites.sorted, Decks: s.decks.sorted,
	}
}

// FromContents makes a snapshot of messages, or returns [Faults] with everything
// that is wrong with any of them; their fields begin with the list they are in.
func FromContents(c *bowrollv1.CatalogContents, validator protovalidate.Validator) (*Snapshot, error) {
	l := &loader{validator: validator, first: map[string]string{}}
	d := newDecoder("catalog")
	add := func(section string, i int, m resource) {
		l.items = append(l.items, item{resource: m, path: section + "[" + strconv.Itoa(i) + "]", from: d})
	}
	for i, m := range c.GetAircraftTypes() {
		add("aircraft_types", i, m)
	}
	for i, m := range c.GetBoosterTypes() {
		add("booster_types", i, m)
	}
	for i, m := range c.GetSites() {
		add("sites", i, m)
	}
	for i, m := range c.GetDecks() {
		add("decks", i, m)
	}
	return l.snapshot()
}

// FromFiles makes a snapshot of the files of a folder, as [Load] does.
func FromFiles(files []*bowrollv1.CatalogFile, validator protovalidate.Validator) (*Snapshot, error) {
	l := &loader{validator: validator, first: map[string]string{}}
	for _, f := range files {
		d := newDecoder(f.GetPath())
		l.document(d, []byte(f.GetText()))
		l.faults = append(l.faults, d.faults...)
	}
	return l.snapshot()
}

// snapshot checks what was gathered and makes a snapshot of it.
func (l *loader) snapshot() (*Snapshot, error) {
	l.check()
	if len(l.faults) > 0 {
		return nil, sortFaults(l.faults)
	}
	return newSnapshot(l.aircraft, l.boosters, l.sites, l.decks), nil
}

// etagDigits is how much of the digest stands for one item.
const etagDigits = 16

// Etag stands for the content of one item of a catalog.
func Etag(item proto.Message) string {
	return "c" + canonical.Digest(item)[len("sha256:"):][:etagDigits]
}
