package store

import (
	"reflect"
	"testing"
	"time"
)

func entries() []Movement {
	at := time.Date(2031, 5, 4, 4, 0, 0, 0, time.UTC)
	list := []Movement{
		{Site: "tern", Time: at, Event: ReceiveLot, Lot: "lot-a", Actor: "k", Detail: []byte(`{"kind":"booster","type":"boosterTypes/b","expire_time":"2032-01-01T00:00:00Z"}`)},
		{Site: "tern", Time: at, Event: Receive, Lot: "lot-a", Unit: "u-1", To: Received, Actor: "k", Place: "mag-1", Reason: "delivery", Until: at.AddDate(1, 0, 0)},
		{Site: "tern", Time: at, Event: Inspect, Lot: "lot-a", Unit: "u-1", From: Received, To: Inspected, Actor: "k", Reason: "seals whole"},
	}
	Chain(Head{}, list)
	return list
}

func TestEveryFieldIsInTheHash(t *testing.T) {
	original := entries()[1]
	for i := range reflect.TypeFor[Movement]().NumField() {
		name := reflect.TypeFor[Movement]().Field(i).Name
		if name == "Hash" {
			continue
		}
		m := original
		switch field := reflect.ValueOf(&m).Elem().Field(i); field.Interface().(type) {
		case time.Time:
			field.Set(reflect.ValueOf(original.Time.Add(time.Hour)))
		case []byte:
			field.SetBytes([]byte("x"))
		case int64:
			field.SetInt(99)
		case Hash:
			field.Set(reflect.ValueOf(Hash{1}))
		default:
			field.SetString("altered")
		}
		if m.Sum() == original.Sum() {
			t.Errorf("%s can be altered without a trace", name)
		}
	}
}

// Moving a character from one field to the next must not give the same hash.
func TestFieldsDoNotRunTogether(t *testing.T) {
	a, b := Movement{Lot: "ab", Unit: "c"}, Movement{Lot: "a", Unit: "bc"}
	if a.Sum() == b.Sum() {
		t.Error("fields run together")
	}
}

func TestVerifyChain(t *testing.T) {
	head, err := VerifyChain("tern", Head{}, entries())
	if err != nil || head.Seq != 3 {
		t.Fatalf("%v, %v", head, err)
	}
	for name, damage := range map[string]func([]Movement) []Movement{
		"LOG_ALTERED":    func(l []Movement) []Movement { l[1].Reason = "nothing"; return l },
		"LOG_GAP":        func(l []Movement) []Movement { return append(l[:1:1], l[2]) },
		"LOG_BROKEN":     func(l []Movement) []Movement { l[1].Reason = "x"; l[1].Hash = l[1].Sum(); return l },
		"LOG_OTHER_SITE": func(l []Movement) []Movement { l[2].Site = "auk"; return l },
	} {
		_, err := VerifyChain("tern", Head{}, damage(entries()))
		e, ok := err.(*Error)
		if !ok || e.Class != Corrupt || e.Reason != name {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestFoldRefusesTheImpossible(t *testing.T) {
	list := entries()
	list[2].Event, list[2].To = Accept, Available
	Chain(Head{}, list)
	var fold Fold
	for _, m := range list[:2] {
		if err := fold.Apply(m); err != nil {
			t.Fatal(err)
		}
	}
	before := fold.Head
	if err := fold.Apply(list[2]); !Is(err, Corrupt) {
		t.Errorf("accepting what was not inspected: %v", err)
	}
	if fold.Head != before || fold.Units["u-1"].State != Received || fold.Lots["lot-a"].ReceivedCount != 1 {
		t.Errorf("the fold moved: %+v", fold)
	}
}
