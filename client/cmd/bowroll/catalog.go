package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type catalogCommand struct {
	List catalogListCommand `cmd:"" default:"withargs" help:"List what the catalog holds."`
	Show catalogShowCommand `cmd:"" help:"Show one thing of the catalog with all its data."`

	Import    catalogImportCommand    `cmd:"" help:"Make the content of a folder the catalog, as a new revision."`
	Export    catalogExportCommand    `cmd:"" help:"Write the catalog, or an earlier revision of it, into a folder."`
	Diff      catalogDiffCommand      `cmd:"" help:"Show what differs between a folder and the catalog, or between revisions."`
	Revisions catalogRevisionsCommand `cmd:"" help:"List the revisions there have been: who changed the catalog, when and why."`
}

type catalogListCommand struct {
	Kind string `arg:"" optional:"" help:"${enum}; all otherwise." enum:"all,aircraft-types,booster-types,sites,decks" default:"all"`
}

func (c *catalogListCommand) Run(p *program) error {
	done := p.waiting(newReport("reading the catalog"))
	found, err := c.list(p)
	done()
	if err != nil {
		return err
	}
	if p.line.Format == "json" {
		return writeCatalog(p, found)
	}
	return sheet.CatalogList(p.stdout, p.style(), found)
}

func (c *catalogListCommand) list(p *program) (found sheet.Catalog, err error) {
	to, err := p.connect()
	if err != nil {
		return found, err
	}
	defer func() { _ = to.Close() }()
	wants := func(kind string) bool { return c.Kind == "all" || c.Kind == kind }
	if wants("aircraft-types") {
		found.AircraftTypes, err = pages(p.ctx, to.Catalog.ListAircraftTypes, func(token string) *bowrollv1.ListAircraftTypesRequest {
			return &bowrollv1.ListAircraftTypesRequest{PageToken: token}
		}, (*bowrollv1.ListAircraftTypesResponse).GetAircraftTypes, &found.Provenance)
	}
	if err == nil && wants("booster-types") {
		found.BoosterTypes, err = pages(p.ctx, to.Catalog.ListBoosterTypes, func(token string) *bowrollv1.ListBoosterTypesRequest {
			return &bowrollv1.ListBoosterTypesRequest{PageToken: token}
		}, (*bowrollv1.ListBoosterTypesResponse).GetBoosterTypes, &found.Provenance)
	}
	var sites []*bowrollv1.Site
	if err == nil && (wants("sites") || wants("decks")) {
		sites, err = pages(p.ctx, to.Catalog.ListSites, func(token string) *bowrollv1.ListSitesRequest {
			return &bowrollv1.ListSitesRequest{PageToken: token}
		}, (*bowrollv1.ListSitesResponse).GetSites, &found.Provenance)
	}
	if wants("sites") {
		found.Sites = sites
	}
	for _, site := range sites {
		if err != nil || !wants("decks") {
			break
		}
		var decks []*bowrollv1.Deck
		decks, err = pages(p.ctx, to.Catalog.ListDecks, func(token string) *bowrollv1.ListDecksRequest {
			return &bowrollv1.ListDecksRequest{Parent: site.GetName(), PageToken: token}
		}, (*bowrollv1.ListDecksResponse).GetDecks, &found.Provenance)
		found.Decks = append(found.Decks, decks...)
	}
	return found, err
}

// page is what every page of a list has.
type page interface {
	GetNextPageToken() string
	GetProvenance() *bowrollv1.Provenance
}

// pages reads a list to its end. The result is not nil, even when empty.
func pages[Q proto.Message, A page, T any](ctx context.Context, list func(context.Context, Q, ...grpc.CallOption) (A, error),
	ask func(token string) Q, items func(A) []T, from **bowrollv1.Provenance) ([]T, error) {
	all := []T{}
	for token := ""; ; {
		answer, err := list(ctx, ask(token))
		if err != nil {
			return nil, err
		}
		all, *from = append(all, items(answer)...), answer.GetProvenance()
		if token = answer.GetNextPageToken(); token == "" {
			return all, nil
		}
	}
}

// writeCatalog writes a list as one JSON object with a list for each kind asked.
func writeCatalog(p *program, found sheet.Catalog) error {
	var out bytes.Buffer
	out.WriteByte('{')
	write := func(name string, message proto.Message) error {
		whole, err := protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true}.Marshal(message)
		if err != nil {
			return err
		}
		var fields map[string]json.RawMessage
		if err := json.Unmarshal(whole, &fields); err != nil {
			return err
		}
		fmt.Fprintf(&out, "%q:%s,", name, fields[name])
		return nil
	}
	var err error
	if found.AircraftTypes != nil {
		err = write("aircraft_types", &bowrollv1.ListAircraftTypesResponse{AircraftTypes: found.AircraftTypes})
	}
	if err == nil && found.BoosterTypes != nil {
		err = write("booster_types", &bowrollv1.ListBoosterTypesResponse{BoosterTypes: found.BoosterTypes})
	}
	if err == nil && found.Sites != nil {
		err = write("sites", &bowrollv1.ListSitesResponse{Sites: found.Sites})
	}
	if err == nil && found.Decks != nil {
		err = write("decks", &bowrollv1.ListDecksResponse{Decks: found.Decks})
	}
	if err == nil {
		err = write("provenance", &bowrollv1.ListSitesResponse{Provenance: found.Provenance})
	}
	if err != nil {
		return err
	}
	return indent(p.stdout, append(bytes.TrimSuffix(out.Bytes(), []byte(",")), '}'))
}

type catalogShowCommand struct {
	Name string `arg:"" help:"Resource name, e.g. aircraftTypes/corvane or sites/varrow/decks/main; of a type or a site its id alone will do."`
}

func (c *catalogShowCommand) Run(p *program) error {
	_, err := ask(p, "reading the catalog", func(to *client.Client) (proto.Message, error) {
		switch parts := strings.Split(c.Name, "/"); {
		case parts[0] == "aircraftTypes":
			return to.Catalog.GetAircraftType(p.ctx, &bowrollv1.GetAircraftTypeRequest{Name: c.Name})
		case parts[0] == "boosterTypes":
			return to.Catalog.GetBoosterType(p.ctx, &bowrollv1.GetBoosterTypeRequest{Name: c.Name})
		case parts[0] == "sites" && len(parts) > 2:
			return to.Catalog.GetDeck(p.ctx, &bowrollv1.GetDeckRequest{Name: c.Name})
		case parts[0] == "sites":
			return to.Catalog.GetSite(p.ctx, &bowrollv1.GetSiteRequest{Name: c.Name})
		case len(parts) == 1 && c.Name != "":
			return c.find(p, to)
		}
		return nil, badInput{fmt.Errorf("%q names nothing of the catalog: write aircraftTypes/…, boosterTypes/…, sites/… or sites/…/decks/…, as bowroll catalog list shows them", c.Name)}
	}, sheet.Entry)
	return err
}

// find looks for what an id alone names: an aircraft type, a booster type or a site.
func (c *catalogShowCommand) find(p *program, to *client.Client) (proto.Message, error) {
	for _, get := range []func() (proto.Message, error){
		func() (proto.Message, error) {
			return to.Catalog.GetAircraftType(p.ctx, &bowrollv1.GetAircraftTypeRequest{Name: "aircraftTypes/" + c.Name})
		},
		func() (proto.Message, error) {
			return to.Catalog.GetBoosterType(p.ctx, &bowrollv1.GetBoosterTypeRequest{Name: "boosterTypes/" + c.Name})
		},
		func() (proto.Message, error) {
			return to.Catalog.GetSite(p.ctx, &bowrollv1.GetSiteRequest{Name: "sites/" + c.Name})
		},
	} {
		found, err := get()
		if r, refused := client.AsRefusal(err); err == nil || !refused || !r.BadInput() {
			return found, err
		}
	}
	return nil, badInput{fmt.Errorf("%q names nothing of the catalog: bowroll catalog list shows what it holds, and a deck is named sites/…/decks/…", c.Name)}
}
