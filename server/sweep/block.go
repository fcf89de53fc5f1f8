package sweep

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"github.com/klauspost/compress/zstd"
)

// Row is the result of one row.
type Row struct {
	// Fault says why it was refused; empty where it was not.
	Fault string
	// Outcome is the contract's number of the outcome, and Goes whether it may go.
	Outcome uint8
	Goes    bool
	// Numbers are NaN where they do not exist.
	Numbers [NumberCount]float64
}

// Block is the results of one part, in columns.
type Block struct {
	Rows    int
	Outcome []uint8 // 0 where refused
	Goes    []bool
	// Numbers by their places; nil where they are not kept.
	Numbers [NumberCount][]float64
	Faults  map[int]string
}

// newBlock makes room for rows.
func newBlock(rows int, keep []int) *Block {
	b := &Block{Rows: rows, Outcome: make([]uint8, rows), Goes: make([]bool, rows), Faults: map[int]string{}}
	for _, i := range keep {
		b.Numbers[i] = make([]float64, rows)
	}
	return b
}

// put writes a row.
func (b *Block) put(i int, r *Row) {
	if r.Fault != "" {
		b.Faults[i] = r.Fault
		for c := range b.Numbers {
			if b.Numbers[c] != nil {
				b.Numbers[c][i] = math.NaN()
			}
		}
		return
	}
	b.Outcome[i], b.Goes[i] = r.Outcome, r.Goes
	for c := range b.Numbers {
		if b.Numbers[c] != nil {
			b.Numbers[c][i] = r.Numbers[c]
		}
	}
}

// counts are how many rows were refused, and how many may go.
func (b *Block) counts() (refused, goes int64) {
	for _, g := range b.Goes {
		if g {
			goes++
		}
	}
	return int64(len(b.Faults)), goes
}

// A block as kept is compressed: magic, number of rows, the places of its numbers;
// then outcomes, whether they go, each number's column, and the faults with
// their rows.
var magic = []byte("bwsweep1")

var errBlock = errors.New("not the results of a sweep, or not whole")

func (b *Block) encode() ([]byte, error) {
	raw := make([]byte, 0, len(magic)+8+b.Rows*(2+8*NumberCount))
	raw = binary.LittleEndian.AppendUint32(append(raw, magic...), uint32(b.Rows))
	var places []byte
	for i, column := range b.Numbers {
		if column != nil {
			places = append(places, byte(i))
		}
	}
	raw = append(append(raw, byte(len(places))), places...)
	raw = append(raw, b.Outcome...)
	for _, g := range b.Goes {
		raw = append(raw, flag(g))
	}
	for _, i := range places {
		for _, v := range b.Numbers[i] {
			raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
		}
	}
	raw = binary.LittleEndian.AppendUint32(raw, uint32(len(b.Faults)))
	for i := range b.Rows {
		if text, ok := b.Faults[i]; ok {
			raw = binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(raw, uint32(i)), uint32(len(text)))
			raw = append(raw, text...)
		}
	}
	encoder, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	if err != nil {
		return nil, err
	}
	return encoder.EncodeAll(raw, make([]byte, 0, len(raw)/2)), nil
}

// mostBlock bounds what a block may unfold to.
const mostBlock = 1 << 30

func decode(packed []byte) (*Block, error) {
	decoder, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(mostBlock))
	if err != nil {
		return nil, err
	}
	defer decoder.Close()
	raw, err := decoder.DecodeAll(packed, nil)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errBlock, err)
	}
	in := &reader{rest: raw}
	if !bytes.Equal(in.take(len(magic)), magic) {
		return nil, errBlock
	}
	rows := int(in.uint32())
	places := in.take(int(in.byte()))
	if in.short || rows > len(raw) {
		return nil, errBlock
	}
	b := &Block{Rows: rows, Outcome: in.take(rows), Goes: make([]bool, rows), Faults: map[int]string{}}
	for i, g := range in.take(rows) {
		b.Goes[i] = g == 1
	}
	for _, place := range places {
		column := in.take(8 * rows)
		if in.short || int(place) >= NumberCount {
			return nil, errBlock
		}
		values := make([]float64, rows)
		for i := range values {
			values[i] = math.Float64frombits(binary.LittleEndian.Uint64(column[8*i:]))
		}
		b.Numbers[place] = values
	}
	for range in.uint32() {
		i, n := int(in.uint32()), int(in.uint32())
		text := in.take(n)
		if in.short || i >= rows {
			return nil, errBlock
		}
		b.Faults[i] = string(text)
	}
	if in.short || len(in.rest) > 0 {
		return nil, errBlock
	}
	return b, nil
}

// reader takes bytes off the front; short says that there were too few.
type reader struct {
	rest  []byte
	short bool
}

func (r *reader) take(n int) []byte {
	if n < 0 || n > len(r.rest) {
		r.short, r.rest = true, nil
		return nil
	}
	taken := r.rest[:n]
	r.rest = r.rest[n:]
	return taken
}

func (r *reader) byte() byte {
	if b := r.take(1); b != nil {
		return b[0]
	}
	return 0
}

func (r *reader) uint32() uint32 {
	if b := r.take(4); b != nil {
		return binary.LittleEndian.Uint32(b)
	}
	return 0
}

func flag(b bool) byte {
	if b {
		return 1
	}
	return 0
}
