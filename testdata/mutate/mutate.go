// Package mutate gives fuzz targets many inputs without the fuzzing engine, which
// measures what every input reaches and so tries a few thousand a second of what
// takes microseconds to read. The engine finds inputs worth keeping; this tries
// changes of those that were kept, by the million and without looking.
package mutate

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// More adds inputs to a target: as many as BOWROLL_FUZZ_INPUTS says, changed from
// those kept under testdata/fuzz for it, the same ones for the same
// BOWROLL_FUZZ_SEED. Where that is not set it adds none. A failure names the
// input by its number, which the same two values give again.
func More(f *testing.F) {
	f.Helper()
	count, err := strconv.Atoi(os.Getenv("BOWROLL_FUZZ_INPUTS"))
	if err != nil {
		return
	}
	seed, _ := strconv.ParseUint(os.Getenv("BOWROLL_FUZZ_SEED"), 10, 64) // none is 0
	kept, err := read(filepath.Join("testdata", "fuzz", f.Name()))
	if err != nil || len(kept) == 0 {
		f.Fatalf("no kept inputs to change: %v", err)
	}
	m := mutator{rand: rand.New(rand.NewPCG(seed, 0)), kept: kept}
	for range count {
		f.Add(m.input()...)
	}
}

// read reads the inputs that are kept in a folder, in the order of their names.
func read(folder string) ([][]any, error) {
	names, err := filepath.Glob(filepath.Join(folder, "*"))
	if err != nil {
		return nil, err
	}
	var kept [][]any
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		input, err := decode(string(text))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		kept = append(kept, input)
	}
	return kept, nil
}

// decode reads an input in the form that the go command keeps them in.
func decode(text string) ([]any, error) {
	first, rest, _ := strings.Cut(text, "\n")
	if first != "go test fuzz v1" {
		return nil, fmt.Errorf("begins with %q", first)
	}
	var input []any
	for line := range strings.Lines(rest) {
		kind, value, _ := strings.Cut(strings.TrimSuffix(strings.TrimSpace(line), ")"), "(")
		var v any
		var err error
		switch kind {
		case "[]byte":
			value, err = strconv.Unquote(value)
			v = []byte(value)
		case "string":
			v, err = strconv.Unquote(value)
		case "int":
			v, err = strconv.Atoi(value)
		case "float64":
			v, err = strconv.ParseFloat(value, 64)
		default:
			err = fmt.Errorf("no values of type %q are known here", kind)
		}
		if err != nil {
			return nil, err
		}
		input = append(input, v)
	}
	return input, nil
}

// mutator changes kept inputs.
type mutator struct {
	rand *rand.Rand
	kept [][]any
}

// input is a kept input with something changed.
func (m *mutator) input() []any {
	from := m.kept[m.rand.IntN(len(m.kept))]
	input := make([]any, len(from))
	for i, v := range from {
		switch v := v.(type) {
		case []byte:
			input[i] = m.text(v, i)
		case string:
			input[i] = string(m.text([]byte(v), i))
		case int:
			input[i] = v + m.rand.IntN(5)*m.rand.IntN(5)
		case float64:
			input[i] = m.number(v)
		}
	}
	return input
}

func (m *mutator) number(v float64) float64 {
	switch m.rand.IntN(8) {
	case 0:
		return math.Float64frombits(m.rand.Uint64())
	case 1:
		return -v
	case 2, 3:
		return v * (1 + m.rand.NormFloat64())
	}
	return v
}

// mostBytes keeps inputs from growing: long ones take long and show little.
const mostBytes = 4096

// text changes a text a few times; i is where it stands in an input.
func (m *mutator) text(text []byte, i int) []byte {
	text = bytes.Clone(text)
	for range 1 + m.rand.IntN(4) {
		text = m.change(text, i)
	}
	return text[:min(len(text), mostBytes)]
}

// pieces are what texts of all kinds break on.
var pieces = []string{"", "\x00", "\n", "\r\n", " ", "\t", "\"", "'", "\\", "{", "}", "[", "]", ":", ",", "- ", "&a ", "*a", "%", "#", "=", ";", ".", "..", "/", "~",
	"null", "true", "NaN", "-0", "1e400", "9223372036854775808", "-1", "0x", "\xff", "\xed\xa0\x80", "\u202e", "\ufeff", "é", "e\u0301", "😀"}

func (m *mutator) change(text []byte, i int) []byte {
	at, to := m.span(len(text))
	switch m.rand.IntN(8) {
	case 0: // a bit
		if at < len(text) {
			text[at] ^= 1 << m.rand.IntN(8)
		}
		return text
	case 1: // any byte
		if at < len(text) {
			text[at] = byte(m.rand.Uint32())
		}
		return text
	case 2: // less
		return append(text[:at], text[to:]...)
	case 3: // again
		return splice(text, to, to, text[at:to])
	case 4: // in another place
		piece := bytes.Clone(text[at:to])
		text = append(text[:at], text[to:]...)
		from := m.rand.IntN(len(text) + 1)
		return splice(text, from, from, piece)
	case 5, 6: // a piece put in or in place of something
		if m.rand.IntN(2) == 0 {
			to = at
		}
		return splice(text, at, to, []byte(pieces[m.rand.IntN(len(pieces))]))
	}
	// A part of another kept input.
	var piece []byte
	switch other := m.kept[m.rand.IntN(len(m.kept))][i].(type) {
	case []byte:
		piece = other
	case string:
		piece = []byte(other)
	}
	from, until := m.span(len(piece))
	return splice(text, at, to, piece[from:until])
}

// span is a part of so many bytes, more often short than long.
func (m *mutator) span(length int) (at, to int) {
	at = m.rand.IntN(length + 1)
	most := min(length-at, 1<<m.rand.IntN(9))
	return at, at + m.rand.IntN(most+1)
}

// splice puts a piece in place of a part of a text.
func splice(text []byte, at, to int, piece []byte) []byte {
	return append(append(append(make([]byte, 0, len(text)+len(piece)), text[:at]...), piece...), text[to:]...)
}
