package published

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"bowroll/perf/quantity"
)

// inputs are the inputs of one row. Reading one marks it as used; what nothing
// reads, and what is missing or cannot be read, is a fault.
type inputs struct {
	text   map[string]string
	used   map[string]bool
	faults []error
}

func parseInputs(text string) (*inputs, error) {
	in := &inputs{text: map[string]string{}, used: map[string]bool{}}
	for _, pair := range strings.Split(text, ";") {
		key, value, ok := strings.Cut(pair, "=")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		if !ok || key == "" || value == "" {
			return nil, fmt.Errorf("inputs: %q is not key = value", strings.TrimSpace(pair))
		}
		if _, twice := in.text[key]; twice {
			return nil, fmt.Errorf("inputs: %s is given twice", key)
		}
		in.text[key] = value
	}
	return in, nil
}

// has tells whether an input is given.
func (in *inputs) has(key string) bool {
	_, ok := in.text[key]
	return ok
}

// need reads an input in the unit of the wire.
func (in *inputs) need(key string, d quantity.Dimension) float64 {
	text, ok := in.text[key]
	if !ok {
		in.faults = append(in.faults, fmt.Errorf("inputs: %s is missing", key))
		return 0
	}
	in.used[key] = true
	v, err := quantity.Parse(d, text)
	if err != nil {
		in.faults = append(in.faults, fmt.Errorf("inputs: %s: %w", key, err))
	}
	return v
}

// maybe reads an input that has a value when it is not given.
func (in *inputs) maybe(key string, d quantity.Dimension, otherwise float64) float64 {
	if !in.has(key) {
		return otherwise
	}
	return in.need(key, d)
}

// number reads a bare number: a ratio, or a quantity whose unit the key names.
func (in *inputs) number(key string) float64 { return in.need(key, quantity.Ratio) }

// err is every fault, inputs that nothing read among them.
func (in *inputs) err() error {
	var unused []string
	for key := range in.text {
		if !in.used[key] {
			unused = append(unused, key)
		}
	}
	slices.Sort(unused)
	for _, key := range unused {
		in.faults = append(in.faults, fmt.Errorf("inputs: the method has no use for %s", key))
	}
	return errors.Join(in.faults...)
}
