package page

import (
	"errors"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"bowroll/testdata/mutate"
)

func itself(s string) string { return s }

// Whatever the items and sizes, the pages one after the other are the list.
func TestPagesAddUpToTheList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		items := rapid.SliceOfNDistinct(rapid.String(), 0, 300, itself).Draw(t, "items")
		slices.Sort(items)
		r := Request{Filter: rapid.String().Draw(t, "filter"), Snapshot: rapid.String().Draw(t, "snapshot")}
		var got []string
		for {
			r.Size = rapid.Int32Range(-1, 400).Draw(t, "size")
			page, next, err := Of(items, itself, r)
			if err != nil {
				t.Fatal(err)
			}
			if len(page) > GreatestSize || (len(page) == 0 && len(items) > 0) {
				t.Fatalf("a page of %d items", len(page))
			}
			got = append(got, page...)
			if next == "" {
				break
			}
			r.Token = next
		}
		if !slices.Equal(got, items) {
			t.Fatalf("pages hold %d items of %d", len(got), len(items))
		}
	})
}

func TestTokensHoldForTheirRequestAlone(t *testing.T) {
	items := []string{"a", "b", "c"}
	rapid.Check(t, func(t *rapid.T) {
		r := Request{Size: 1, Filter: rapid.String().Draw(t, "filter"), Snapshot: rapid.String().Draw(t, "snapshot")}
		_, token, err := Of(items, itself, r)
		if err != nil || token == "" {
			t.Fatalf("first page: %q, %v", token, err)
		}
		other := r
		other.Token = token
		other.Filter += rapid.StringN(1, -1, -1).Draw(t, "more filter")
		if _, _, err := Of(items, itself, other); !errors.Is(err, ErrRequest) {
			t.Fatalf("another filter: %v", err)
		}
		other = r
		other.Token = token
		other.Snapshot += rapid.StringN(1, -1, -1).Draw(t, "more snapshot")
		if _, _, err := Of(items, itself, other); !errors.Is(err, ErrSnapshot) {
			t.Fatalf("another snapshot: %v", err)
		}
		// One character changed, anywhere.
		at := rapid.IntRange(0, len(token)-1).Draw(t, "at")
		with := rapid.ByteRange(1, 126).Draw(t, "with")
		if token[at] == with {
			return
		}
		other = r
		other.Token = token[:at] + string(with) + token[at+1:]
		if _, _, err := Of(items, itself, other); !errors.Is(err, ErrGarbled) {
			t.Fatalf("token with %q at %d: %v", with, at, err)
		}
	})
}

func FuzzToken(f *testing.F) {
	items := []string{"a", "b", "c"}
	_, token, err := Of(items, itself, Request{Size: 2, Filter: "f", Snapshot: "s"})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(token)
	f.Add("")
	f.Add("AQ")
	mutate.More(f)
	f.Fuzz(func(t *testing.T, token string) {
		page, _, err := Of(items, itself, Request{Token: token, Filter: "f", Snapshot: "s"})
		if err != nil && !errors.Is(err, ErrGarbled) && !errors.Is(err, ErrRequest) && !errors.Is(err, ErrSnapshot) {
			t.Fatal(err)
		}
		if err == nil && token == "" && len(page) != len(items) {
			t.Fatalf("no token gave %v", page)
		}
	})
}
