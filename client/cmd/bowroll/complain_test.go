package main

import (
	"strings"
	"testing"
)

// What a cell that came second reads is what changed, and not a name of a rule.
func TestAFaultOfTheWholeRequestIsItsHint(t *testing.T) {
	var b strings.Builder
	(&problem{undone: "changed", Violations: []violation{{
		Rule: "stock_short", text: "is not accepted (stock_short)", Hint: "lot lot-07: the plan needs 8 and 0 are usable (8 reserved)",
	}}}).text(&b)
	if want := "lot lot-07: the plan needs 8 and 0 are usable (8 reserved)\nbowroll: 1 fault; nothing was changed\n"; b.String() != want {
		t.Errorf("got\n%swant\n%s", b.String(), want)
	}
}
