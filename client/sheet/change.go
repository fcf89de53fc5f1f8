package sheet

import (
	"strings"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// named draws the value of a quantity that is named as the contract does, with
// its unit in the name.
func (p *page) named(quantity string, value float64) string {
	if text, ok := figure.Named(p.style.Units, quantity, value); ok {
		return text
	}
	return figures(value, 4)
}

// changes says which single changes would do, the cheapest first.
func (p *page) changes(list []*bowrollv1.Change) string {
	var parts []string
	for _, c := range list {
		parts = append(parts, p.change(c))
	}
	return strings.Join(parts, ", or ")
}

// change says one change in the units of the page.
func (p *page) change(c *bowrollv1.Change) string { return clean(figure.Change(p.style.Units, c)) }
