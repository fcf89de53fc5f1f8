package sheet_test

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// stock reads lots and counts as the command line wrote them.
func stock(t *testing.T) (*bowrollv1.ListLotsResponse, *bowrollv1.SummarizeStockResponse) {
	t.Helper()
	source, err := os.ReadFile("testdata/stock.json")
	if err != nil {
		t.Fatal(err)
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(source, &fields); err != nil {
		t.Fatal(err)
	}
	lots, counts := &bowrollv1.ListLotsResponse{}, &bowrollv1.SummarizeStockResponse{}
	if err := protojson.Unmarshal([]byte(`{"lots":`+string(fields["lots"])+`}`), lots); err != nil {
		t.Fatal(err)
	}
	delete(fields, "lots")
	rest, err := json.Marshal(fields)
	if err != nil {
		t.Fatal(err)
	}
	if err := protojson.Unmarshal(rest, counts); err != nil {
		t.Fatal(err)
	}
	return lots, counts
}

// TestLedgerSheets holds the sheets of stock and kept plans against the texts
// that were looked at. UPDATE_GOLDEN=1 writes them anew.
func TestLedgerSheets(t *testing.T) {
	const site = "sites/varrow"
	lots, counts := stock(t)
	units := load(t, "stock-units", &bowrollv1.ListUnitsResponse{})
	for name, draw := range map[string]func(io.Writer, sheet.Style) error{
		"stock":       func(w io.Writer, s sheet.Style) error { return sheet.Stock(w, s, site, lots.GetLots(), counts) },
		"stock-none":  func(w io.Writer, s sheet.Style) error { return sheet.Stock(w, s, site, nil, counts) },
		"stock-lot":   func(w io.Writer, s sheet.Style) error { return sheet.Lot(w, s, lots.GetLots()[0]) },
		"stock-units": func(w io.Writer, s sheet.Style) error { return sheet.Units(w, s, site, units.GetUnits()) },
		"stock-moved": func(w io.Writer, s sheet.Style) error { return sheet.Moved(w, s, site, units.GetUnits()[:1], true) },
		"stock-log": func(w io.Writer, s sheet.Style) error {
			return sheet.Log(w, s, site, load(t, "stock-log", &bowrollv1.ListMovementsResponse{}))
		},
		"stock-verify": func(w io.Writer, s sheet.Style) error {
			return sheet.LogCheck(w, s, site, load(t, "stock-verify", &bowrollv1.VerifyLogResponse{}))
		},
		"stock-count": func(w io.Writer, s sheet.Style) error {
			return sheet.Count(w, s, site+"/lots/lot-11", "", load(t, "stock-count", &bowrollv1.CountLotResponse{}))
		},
		"plans": func(w io.Writer, s sheet.Style) error {
			return sheet.Plans(w, s, site, load(t, "plans", &bowrollv1.ListPlansResponse{}).GetPlans())
		},
		"catalog-diff": func(w io.Writer, s sheet.Style) error {
			return sheet.CatalogDiff(w, s, &bowrollv1.CatalogDiff{
				FromRevision: "sha256:f15799b44375c1c9", ToRevision: "sha256:1f54c599093643de", ValidateOnly: true,
				Changes: []*bowrollv1.ResourceDiff{
					{Name: "aircraftTypes/wendrake", Kind: bowrollv1.DiffKind_DIFF_KIND_REMOVED},
					{Name: "boosterTypes/gaunt-12", Kind: bowrollv1.DiffKind_DIFF_KIND_CHANGED, Fields: []*bowrollv1.FieldDiff{
						{Field: "loaded_mass_kg", Before: "41", After: "41.5"}, {Field: "keep_clear_m", Before: "26"},
					}},
					{Name: "sites/tern", Kind: bowrollv1.DiffKind_DIFF_KIND_ADDED},
				},
			})
		},
		"catalog-revisions": func(w io.Writer, s sheet.Style) error {
			return sheet.CatalogRevisions(w, s, &bowrollv1.ListCatalogRevisionsResponse{Complete: true, Revisions: []*bowrollv1.CatalogRevision{
				{Sequence: 2, Revision: "sha256:1f54c599093643de", Actor: "quill", Reason: "weighed again", Time: timestamppb.New(time.Date(2041, 3, 7, 5, 30, 0, 0, time.UTC))},
				{Sequence: 1, Revision: "sha256:f15799b44375c1c9", Actor: "bowrolld", Reason: "the catalog that the service was first started with"},
			}})
		},
		"kept-plan": func(w io.Writer, s sheet.Style) error {
			return sheet.KeptPlan(w, s, load(t, "kept-plan", &bowrollv1.Plan{}))
		},
	} {
		for _, width := range []int{80, 140} {
			t.Run(name, func(t *testing.T) {
				var got bytes.Buffer
				if err := draw(&got, sheet.Style{Width: width, Units: quantity.Trade}); err != nil {
					t.Fatal(err)
				}
				for _, line := range strings.Split(got.String(), "\n") {
					if utf8.RuneCountInString(line) > width {
						t.Errorf("wider than %d: %q", width, line)
					}
				}
				if width != 80 {
					return
				}
				golden(t, name, got.String())
			})
		}
	}
}

// An answer that is empty is drawn, without numbers that nobody gave.
func TestEmptyLedgerAnswers(t *testing.T) {
	style := sheet.Style{Width: 80, Units: quantity.Trade}
	for name, draw := range map[string]func(io.Writer) error{
		"lot":       func(w io.Writer) error { return sheet.Lot(w, style, &bowrollv1.StockLot{}) },
		"units":     func(w io.Writer) error { return sheet.Units(w, style, "", []*bowrollv1.Unit{{}}) },
		"suspended": func(w io.Writer) error { return sheet.Suspended(w, style, &bowrollv1.SuspendLotResponse{}) },
		"imported": func(w io.Writer) error {
			return sheet.Imported(w, style, "", &bowrollv1.ImportMovementsResponse{}, false)
		},
		"log": func(w io.Writer) error {
			return sheet.Log(w, style, "", &bowrollv1.ListMovementsResponse{Movements: []*bowrollv1.Movement{{}}})
		},
		"plan":  func(w io.Writer) error { return sheet.KeptPlan(w, style, &bowrollv1.Plan{}) },
		"plans": func(w io.Writer) error { return sheet.Plans(w, style, "", []*bowrollv1.Plan{{}}) },
	} {
		t.Run(name, func(t *testing.T) {
			var got bytes.Buffer
			if err := draw(&got); err != nil || got.Len() == 0 {
				t.Errorf("drew %q: %v", got.String(), err)
			}
		})
	}
}
