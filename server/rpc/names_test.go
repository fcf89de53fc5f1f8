package rpc

import (
	"strconv"
	"strings"
	"testing"
)

func TestAnUnknownNameSaysWhichWasMeant(t *testing.T) {
	known := []string{"aircraftTypes/corvane", "aircraftTypes/ostrel"}
	if v := unknown("case.aircraft_type", "aircraftTypes/corvan", known, "see the catalog"); v.GetHint() != "did you mean aircraftTypes/corvane?" ||
		v.GetAllowed() != "one of aircraftTypes/corvane, aircraftTypes/ostrel" || v.GetValue() != `"aircraftTypes/corvan"` {
		t.Error(v)
	}
	if v := unknown("case.deck", "sites/nowhere/decks/other", known, "see the catalog"); v.GetHint() != "see the catalog" {
		t.Error(v)
	}
	var many []string
	for i := range mostNames + 7 {
		many = append(many, "s"+strconv.Itoa(i))
	}
	if got := oneOf(many); !strings.HasSuffix(got, "s19 and 7 more") {
		t.Error(got)
	}
	if got := oneOf(nil); !strings.HasPrefix(got, "nothing") {
		t.Error(got)
	}
}
