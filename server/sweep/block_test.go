package sweep

import (
	"crypto/sha256"
	"math"
	"testing"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"

	"bowroll/testdata/mutate"
)

func sumOf(b []byte) [32]byte { return sha256.Sum256(b) }

// same tells whether two blocks hold the same rows, NaN being NaN.
func same(a, b *Block) bool {
	if a.Rows != b.Rows || string(a.Outcome) != string(b.Outcome) || len(a.Faults) != len(b.Faults) {
		return false
	}
	for i := range a.Rows {
		if a.Goes[i] != b.Goes[i] || a.Faults[i] != b.Faults[i] {
			return false
		}
	}
	for c := range a.Numbers {
		if (a.Numbers[c] == nil) != (b.Numbers[c] == nil) {
			return false
		}
		for i := range a.Numbers[c] {
			if math.Float64bits(a.Numbers[c][i]) != math.Float64bits(b.Numbers[c][i]) {
				return false
			}
		}
	}
	return true
}

func TestBlocksComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "rows")
		b := newBlock(n, rapid.SliceOfDistinct(rapid.IntRange(0, NumberCount-1), rapid.ID).Draw(t, "keep"))
		for i := range n {
			row := Row{Fault: rapid.SampledFrom([]string{"", "", "too heavy", "a\nb\x00"}).Draw(t, "fault"), Outcome: rapid.Byte().Draw(t, "outcome"), Goes: rapid.Bool().Draw(t, "goes")}
			for c := range row.Numbers {
				row.Numbers[c] = rapid.OneOf(rapid.Float64(), rapid.Just(math.NaN())).Draw(t, "number")
			}
			b.put(i, &row)
		}
		packed, err := b.encode()
		if err != nil {
			t.Fatal(err)
		}
		back, err := decode(packed)
		if err != nil || !same(b, back) {
			t.Fatalf("%v: %+v came back as %+v", err, b, back)
		}
		if len(packed) > 1 {
			if _, err := decode(packed[:len(packed)-1]); err == nil {
				t.Fatal("a block that was cut was read")
			}
		}
	})
}

// FuzzDecode reads what is no block, packed and not: none makes it crash, and what
// it takes for a block is one.
func FuzzDecode(f *testing.F) {
	b := newBlock(3, []int{RunM, MarginM})
	b.put(0, &Row{Outcome: 1, Goes: true})
	b.put(1, &Row{Fault: "too heavy"})
	b.put(2, &Row{Outcome: 4})
	packed, err := b.encode()
	if err != nil {
		f.Fatal(err)
	}
	unpacker, err := zstd.NewReader(nil)
	if err != nil {
		f.Fatal(err)
	}
	raw, err := unpacker.DecodeAll(packed, nil)
	if err != nil {
		f.Fatal(err)
	}
	packer, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(raw)
	f.Add(packed)
	f.Add(raw[:len(raw)-1])
	f.Add([]byte(magic))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, one := range [][]byte{text, packer.EncodeAll(text, nil)} {
			found, err := decode(one)
			if err != nil {
				continue
			}
			again, err := found.encode()
			if err != nil {
				t.Fatal(err)
			}
			back, err := decode(again)
			if err != nil || !same(found, back) {
				t.Fatalf("%v: %+v came back as %+v", err, found, back)
			}
		}
	})
}
