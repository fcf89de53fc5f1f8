package sheet

import (
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Catalog is what a list of the catalog holds; a part that is nil is not drawn.
type Catalog struct {
	AircraftTypes []*bowrollv1.AircraftType
	BoosterTypes  []*bowrollv1.BoosterType
	Sites         []*bowrollv1.Site
	Decks         []*bowrollv1.Deck
	Provenance    *bowrollv1.Provenance
}

// CatalogList draws the catalog, one line a thing.
func CatalogList(w io.Writer, style Style, c Catalog) error {
	p := newPage(style)
	if c.AircraftTypes != nil {
		p.heading("AIRCRAFT TYPES", fmt.Sprintf("mass in %s, span in %s", p.unit(mass), p.unit(length)))
		t := table{columns: []column{{head: "Name", least: 24}, {head: "For people", least: 10, rank: 1}, {head: "Thrust", rank: 2},
			{head: "Least", under: "mass", right: true, rank: 3}, {head: "Greatest", under: "mass", right: true},
			{head: "Span", right: true, rank: 4}, {head: "Flaps", least: 8, rank: 5}, {head: "Units"}}}
		for _, a := range c.AircraftTypes {
			thrust := "jet"
			if a.GetPropeller() != nil {
				thrust = "propeller"
			}
			var flaps, counts []string
			for _, f := range a.GetFlaps() {
				flaps = append(flaps, f.GetId())
			}
			for _, l := range a.GetLoadings() {
				counts = append(counts, digits(int(l.GetUnitCount())))
			}
			t.row(plain(a.GetName(), clean(a.GetDisplayName()), thrust, p.givenNumber(mass, a.LeastMassKg),
				p.givenNumber(mass, a.GreatestMassKg), p.givenNumber(length, a.SpanM), strings.Join(flaps, ", "),
				orNone(strings.Join(counts, ", ")))...)
		}
		p.table(t)
	}
	if c.BoosterTypes != nil {
		p.heading("BOOSTER TYPES", fmt.Sprintf("mass in %s", p.unit(mass)))
		t := table{columns: []column{{head: "Name", least: 24}, {head: "For people", least: 10, rank: 1}, {head: "Burn", right: true},
			{head: "Loaded", under: "mass", right: true, rank: 2}, {head: "Firing between", right: true}, {head: "Stow between", right: true, rank: 3}}}
		for _, b := range c.BoosterTypes {
			burn := none
			if n := len(b.GetTraceS()); n > 0 {
				burn = seconds(b.GetTraceS()[n-1])
			}
			t.row(plain(b.GetName(), clean(b.GetDisplayName()), burn, p.givenNumber(mass, b.LoadedMassKg),
				p.between(b.FiringLeastC, b.FiringGreatestC), p.between(b.StowageLeastC, b.StowageGreatestC))...)
		}
		p.table(t)
	}
	if c.Sites != nil {
		p.heading("SITES", "speeds in "+p.unit(speed))
		t := table{columns: []column{{head: "Name", least: 30}, {head: "For people", least: 10}, {head: "Least", under: "speed", right: true}, {head: "Greatest", under: "speed", right: true}}}
		for _, s := range c.Sites {
			t.row(plain(s.GetName(), clean(s.GetDisplayName()), p.givenNumber(speed, s.LeastSpeedMps), p.givenNumber(speed, s.GreatestSpeedMps))...)
		}
		p.table(t)
	}
	if c.Decks != nil {
		p.heading("DECKS", fmt.Sprintf("runs in %s, speeds in %s", p.unit(length), p.unit(speed)))
		t := table{columns: []column{{head: "Name", least: 24}, {head: "For people", least: 10, rank: 1}, {head: "Spots and runs", least: 20},
			{head: "Cross-", under: "wind", right: true}, {head: "Ceiling", right: true}}}
		for _, d := range c.Decks {
			var spots []string
			for _, s := range d.GetSpots() {
				spots = append(spots, s.GetId()+" "+p.givenNumber(length, s.AvailableM))
			}
			t.row(plain(d.GetName(), clean(d.GetDisplayName()), orNone(strings.Join(spots, ", ")),
				p.givenNumber(speed, d.CrosswindLimitMps), p.givenNumber(speed, d.WindCeilingMps))...)
		}
		p.table(t)
	}
	if c.Provenance != nil {
		p.gap()
		p.paragraph(toneQuiet, "Catalog "+c.Provenance.GetCatalogRevision(), 0)
	}
	return p.write(w)
}

func (p *page) between(least, greatest *float64) string {
	if least == nil && greatest == nil {
		return none
	}
	return p.givenNumber(temperature, least) + hold + "to" + hold + p.givenMeasured(temperature, greatest)
}

// Entry draws one thing of the catalog with all its data, in the units of the
// contract, which are SI and named in each field: data is for comparing with
// its source, not for planning.
func Entry(w io.Writer, style Style, thing proto.Message) error {
	p := newPage(style)
	m := thing.ProtoReflect()
	p.heading(m.Get(m.Descriptor().Fields().ByName("name")).String(), "")
	p.fields(m, 0)
	return p.write(w)
}

// fields draws what is set in a message, in the order of the contract.
func (p *page) fields(m protoreflect.Message, depth int) {
	lead := strings.Repeat("  ", depth)
	for i := range m.Descriptor().Fields().Len() {
		field := m.Descriptor().Fields().Get(i)
		if !m.Has(field) || field.Name() == "name" && depth == 0 {
			continue
		}
		name, value := lead+string(field.Name()), m.Get(field)
		switch {
		case field.IsList() && field.Message() != nil:
			p.line(name)
			for j := range value.List().Len() {
				p.paragraph(tonePlain, lead+"  "+inline(value.List().Get(j).Message()), len(lead)+4)
			}
		case field.IsList():
			var items []string
			for j := range value.List().Len() {
				items = append(items, literal(field, value.List().Get(j)))
			}
			p.labelled(tonePlain, name, tonePlain, strings.Join(items, ", "), 30)
		case field.Message() != nil:
			p.line(name)
			p.fields(value.Message(), depth+1)
		default:
			p.labelled(tonePlain, name, tonePlain, literal(field, value), 30)
		}
	}
}

// inline draws a message on one line.
func inline(m protoreflect.Message) string {
	var parts []string
	for i := range m.Descriptor().Fields().Len() {
		field := m.Descriptor().Fields().Get(i)
		if !m.Has(field) {
			continue
		}
		if field.IsList() {
			var items []string
			for j := range m.Get(field).List().Len() {
				items = append(items, literal(field, m.Get(field).List().Get(j)))
			}
			parts = append(parts, string(field.Name())+" "+strings.Join(items, "+"))
			continue
		}
		parts = append(parts, string(field.Name())+" "+literal(field, m.Get(field)))
	}
	return strings.Join(parts, ", ")
}

// literal draws one value.
func literal(field protoreflect.FieldDescriptor, value protoreflect.Value) string {
	switch field.Kind() {
	case protoreflect.DoubleKind:
		return figures(value.Float(), 9)
	case protoreflect.EnumKind:
		known := field.Enum().Values().ByNumber(value.Enum())
		prefix := strings.TrimSuffix(string(field.Enum().Values().Get(0).Name()), "UNSPECIFIED")
		if known != nil {
			return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(known.Name()), prefix), "_", " "))
		}
	}
	return clean(value.String())
}
