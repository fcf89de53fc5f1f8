package mutate

import (
	"math/rand/v2"
	"reflect"
	"testing"
)

func TestDecode(t *testing.T) {
	got, err := decode("go test fuzz v1\n[]byte(\"a)\\x00\\n\")\nstring(\"b(\")\nint(-3)\nfloat64(2.5)\n")
	if want := []any{[]byte("a)\x00\n"), "b(", -3, 2.5}; err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%#v, %v", got, err)
	}
	for _, text := range []string{"", "go test fuzz v2\n", "go test fuzz v1\nstring(\"a)\n", "go test fuzz v1\nrune('a')\n"} {
		if got, err := decode(text); err == nil {
			t.Errorf("%q is %#v", text, got)
		}
	}
}

// The same seed gives the same inputs, most of them others than were kept, and what
// was kept stays.
func TestInputs(t *testing.T) {
	kept := [][]any{{[]byte("time,temperature\n"), "a", 1, 0.5}, {[]byte(""), "bcd", 2, -1.0}}
	inputs := func() [][]any {
		m := mutator{rand: rand.New(rand.NewPCG(7, 0)), kept: kept}
		var list [][]any
		for range 10_000 {
			list = append(list, m.input())
		}
		return list
	}
	list, same := inputs(), 0
	if !reflect.DeepEqual(list, inputs()) {
		t.Error("the same seed gives other inputs")
	}
	for _, input := range list {
		if reflect.DeepEqual(input, kept[0]) || reflect.DeepEqual(input, kept[1]) {
			same++
		}
	}
	if same > len(list)/10 {
		t.Errorf("%d of %d are as they were kept", same, len(list))
	}
	if string(kept[0][0].([]byte)) != "time,temperature\n" {
		t.Error("a kept input was changed")
	}
}
