package rpc

import (
	"context"
	"io/fs"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/testdata"
)

// testSnapshot is the catalog in the program.
func testSnapshot(t testing.TB) *catalog.Snapshot {
	t.Helper()
	folder, err := fs.Sub(testdata.Files, "catalog")
	if err != nil {
		t.Fatal(err)
	}
	return loadSnapshot(t, folder)
}

func loadSnapshot(t testing.TB, folder fs.FS) *catalog.Snapshot {
	t.Helper()
	v, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	s, err := catalog.Load(folder, v)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestCatalogGets(t *testing.T) {
	snapshot := testSnapshot(t)
	c := NewCatalog(snapshot)
	ctx := context.Background()
	a, err := c.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: "aircraftTypes/corvane"})
	if err != nil {
		t.Fatal(err)
	}
	p := a.GetProvenance()
	if p.GetModelVersion() != perf.ModelVersion || p.GetCatalogRevision() != snapshot.Revision() || p.GetRequestDigest() == "" {
		t.Errorf("provenance %v", p)
	}
	if own, _ := snapshot.AircraftType("aircraftTypes/corvane"); own.Provenance != nil {
		t.Error("the answer was written into the catalog")
	}
	if b, err := c.GetBoosterType(ctx, &bowrollv1.GetBoosterTypeRequest{Name: "boosterTypes/gaunt-12"}); err != nil || b.GetProvenance() == nil {
		t.Errorf("%v, %v", b, err)
	}
	if s, err := c.GetSite(ctx, &bowrollv1.GetSiteRequest{Name: "sites/varrow"}); err != nil || s.GetProvenance() == nil {
		t.Errorf("%v, %v", s, err)
	}
	if d, err := c.GetDeck(ctx, &bowrollv1.GetDeckRequest{Name: "sites/varrow/decks/main"}); err != nil || d.GetProvenance() == nil {
		t.Errorf("%v, %v", d, err)
	}
}

func TestCatalogNamesWhatIsValid(t *testing.T) {
	c := NewCatalog(testSnapshot(t))
	ctx := context.Background()
	for _, try := range []struct {
		name, field, nearest string
		err                  func(name string) error
	}{
		{"aircraftTypes/corvan", "name", "aircraftTypes/corvane", func(name string) error {
			_, err := c.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: name})
			return err
		}},
		{"boosterTypes/gaunt-21", "name", "boosterTypes/gaunt-12", func(name string) error {
			_, err := c.GetBoosterType(ctx, &bowrollv1.GetBoosterTypeRequest{Name: name})
			return err
		}},
		{"sites/varow", "name", "sites/varrow", func(name string) error {
			_, err := c.GetSite(ctx, &bowrollv1.GetSiteRequest{Name: name})
			return err
		}},
		{"sites/varrow/decks/mian", "name", "sites/varrow/decks/main", func(name string) error {
			_, err := c.GetDeck(ctx, &bowrollv1.GetDeckRequest{Name: name})
			return err
		}},
		{"sites/varow", "parent", "sites/varrow", func(name string) error {
			_, err := c.ListDecks(ctx, &bowrollv1.ListDecksRequest{Parent: name})
			return err
		}},
	} {
		err := try.err(try.name)
		if status.Code(err) != codes.NotFound {
			t.Errorf("%s: %v", try.name, err)
			continue
		}
		vs := violationsOf(err)
		if len(vs) != 1 || vs[0].GetField() != try.field || vs[0].GetValue() == "" ||
			!strings.HasSuffix(vs[0].GetAllowed(), "the nearest is "+try.nearest) {
			t.Errorf("%s: %v", try.name, vs)
		}
	}
}

// violationsOf is the faults that an error carries.
func violationsOf(err error) []*bowrollv1.Violation {
	for _, d := range status.Convert(err).Details() {
		if v, ok := d.(*bowrollv1.Violations); ok {
			return v.GetViolations()
		}
	}
	return nil
}

func TestCatalogLists(t *testing.T) {
	c := NewCatalog(testSnapshot(t))
	ctx := context.Background()
	var names []string
	r := &bowrollv1.ListAircraftTypesRequest{PageSize: 3}
	for {
		got, err := c.ListAircraftTypes(ctx, r)
		if err != nil {
			t.Fatal(err)
		}
		if got.GetProvenance() == nil {
			t.Error("a list without provenance")
		}
		for _, a := range got.GetAircraftTypes() {
			names = append(names, a.GetName())
		}
		if r.PageToken = got.GetNextPageToken(); r.PageToken == "" {
			break
		}
	}
	if want := testSnapshot(t).AircraftTypeNames(); !slices.Equal(names, want) {
		t.Errorf("pages hold %v, want %v", names, want)
	}
	if got, err := c.ListBoosterTypes(ctx, &bowrollv1.ListBoosterTypesRequest{}); err != nil || len(got.GetBoosterTypes()) != 2 {
		t.Errorf("%v, %v", got, err)
	}
	if got, err := c.ListSites(ctx, &bowrollv1.ListSitesRequest{}); err != nil || len(got.GetSites()) != 2 {
		t.Errorf("%v, %v", got, err)
	}
	if got, err := c.ListDecks(ctx, &bowrollv1.ListDecksRequest{Parent: "sites/varrow"}); err != nil || len(got.GetDecks()) != 1 {
		t.Errorf("%v, %v", got, err)
	}
}

func TestCatalogRefusesTokensOfAnotherTime(t *testing.T) {
	ctx := context.Background()
	before := NewCatalog(loadSnapshot(t, fstest.MapFS{"a.yaml": {Data: []byte("sites: [{name: sites/a}, {name: sites/b}]")}}))
	after := NewCatalog(loadSnapshot(t, fstest.MapFS{"a.yaml": {Data: []byte("sites: [{name: sites/a}, {name: sites/c}]")}}))
	first, err := before.ListSites(ctx, &bowrollv1.ListSitesRequest{PageSize: 1})
	if err != nil || first.GetNextPageToken() == "" {
		t.Fatalf("%v, %v", first, err)
	}
	token := first.GetNextPageToken()
	for name, err := range map[string]error{
		"a changed catalog": second(after.ListSites(ctx, &bowrollv1.ListSitesRequest{PageToken: token})),
		"another list":      second(before.ListAircraftTypes(ctx, &bowrollv1.ListAircraftTypesRequest{PageToken: token})),
		"a garbled token":   second(before.ListSites(ctx, &bowrollv1.ListSitesRequest{PageToken: token + "A"})),
	} {
		if vs := violationsOf(err); status.Code(err) != codes.InvalidArgument || len(vs) != 1 || vs[0].GetField() != "page_token" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }
