package catalog

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// check holds every item against the contract's rules and ours, and sorts the
// items into their kinds.
func (l *loader) check() {
	for _, it := range l.items {
		l.contract(it)
		l.name(it)
		switch m := it.resource.(type) {
		case *bowrollv1.AircraftType:
			l.report(it, CheckAircraftType(m))
			l.aircraft = append(l.aircraft, m)
		case *bowrollv1.BoosterType:
			l.report(it, CheckBoosterType(m))
			l.boosters = append(l.boosters, m)
		case *bowrollv1.Site:
			l.report(it, CheckSite(m))
			l.sites = append(l.sites, m)
		case *bowrollv1.Deck:
			l.decks = append(l.decks, m)
		}
	}
	l.checkDecks()
}

// checkDecks needs every site to be known.
func (l *loader) checkDecks() {
	sites := newKind(l.sites)
	for _, it := range l.items {
		deck, ok := it.resource.(*bowrollv1.Deck)
		if !ok {
			continue
		}
		site := sites.byName[siteOf(deck.GetName())]
		if site == nil && deck.GetName() != "" {
			l.report(it, []*bowrollv1.Violation{{
				Field: "name", Value: deck.GetName(), Rule: "reference",
				Allowed: "the name of a site of the catalog, /decks/ and an id",
				Hint:    "the sites are " + listed(sites.names()),
			}})
		}
		l.report(it, CheckDeck(deck, site))
	}
}

// name refuses an item without a name, and the second of two with the same.
func (l *loader) name(it item) {
	name := it.resource.GetName()
	if name == "" {
		l.report(it, []*bowrollv1.Violation{{Field: "name", Rule: "required"}})
		return
	}
	at := it.from.placeOf(it.path + ".name")
	here := fmt.Sprintf("%s:%d:%d", it.from.file, at.line, at.column)
	if before, twice := l.first[name]; twice {
		l.report(it, []*bowrollv1.Violation{{Field: "name", Value: name, Rule: "unique", Allowed: "unlike every other", Hint: "it is given at " + before + " as well"}})
		return
	}
	l.first[name] = here
}

// report turns violations of an item into faults, unless what they speak of has
// a fault already.
func (l *loader) report(it item, vs []*bowrollv1.Violation) {
	for _, v := range vs {
		field := it.path
		if v.GetField() != "" {
			field += "." + v.GetField()
		}
		if it.from.isBroken(field) || (it.from.meant[field] && missing(v)) {
			continue
		}
		v = proto.CloneOf(v)
		v.Field = field
		at := it.from.placeOf(field)
		l.faults = append(l.faults, Fault{File: it.from.file, Line: at.line, Column: at.column, Violation: v})
	}
}

// missing tells a violation by absence.
func missing(v *bowrollv1.Violation) bool {
	return v.GetRule() == "required" || v.GetRule() == "count"
}

// contract holds an item against the rules written in the contract.
func (l *loader) contract(it item) {
	vs, err := refusal.Check(l.validator, "", it.resource)
	if err != nil {
		vs = []*bowrollv1.Violation{{Rule: "contract", Hint: err.Error()}}
	}
	for _, v := range vs {
		if it.resource.GetName() == "" && v.GetField() == "name" {
			continue // said once, as missing
		}
		v.Value = shorten(v.GetValue())
		l.report(it, []*bowrollv1.Violation{v})
	}
}

// listed is names in a sentence.
func listed(names []string) string {
	names = slices.DeleteFunc(slices.Compact(slices.Sorted(slices.Values(names))), func(n string) bool { return n == "" })
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}
