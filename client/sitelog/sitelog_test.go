package sitelog

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/logpart"
	"bowroll/testdata/mutate"
)

// keys makes a pair, the same each time.
func keys(t *testing.T, fill byte) (ed25519.PrivateKey, ed25519.PublicKey) {
	t.Helper()
	private, public, err := NewKey(bytes.NewReader(bytes.Repeat([]byte{fill}, 64)))
	if err != nil {
		t.Fatal(err)
	}
	key, err := ReadPrivate(private)
	if err != nil {
		t.Fatal(err)
	}
	half, err := logpart.ReadPublic(public)
	if err != nil {
		t.Fatal(err)
	}
	return key, half
}

func hash(n int32) string { return fmt.Sprintf("%064x", n) }

// entries follow one another from first to last.
func entries(first, last int32) (list []*bowrollv1.Movement) {
	for n := first; n <= last; n++ {
		list = append(list, &bowrollv1.Movement{Sequence: n, Event: "count", Lot: "lot-a", Actor: "k", PreviousHash: hash(n - 1), Hash: hash(n)})
	}
	return list
}

// file is two parts.
func file(t *testing.T, key ed25519.PrivateKey) []byte {
	t.Helper()
	var out bytes.Buffer
	for _, part := range [][]*bowrollv1.Movement{entries(1, 3), entries(4, 5)} {
		if err := Write(&out, "varrow", part, key); err != nil {
			t.Fatal(err)
		}
	}
	return out.Bytes()
}

func TestWhatIsWrittenIsRead(t *testing.T) {
	key, half := keys(t, 1)
	_, stranger := keys(t, 2)
	r := NewReader(bytes.NewReader(file(t, key)), stranger, half)
	for _, want := range [][]*bowrollv1.Movement{entries(1, 3), entries(4, 5)} {
		part, got, err := r.Next()
		if err != nil || part.Site != "varrow" || len(got) != len(want) {
			t.Fatal(part, got, err)
		}
		for i := range got {
			if !proto.Equal(got[i], want[i]) {
				t.Errorf("%v became %v", want[i], got[i])
			}
		}
	}
	if _, _, err := r.Next(); !errors.Is(err, io.EOF) {
		t.Error(err)
	}
	if _, _, err := NewReader(bytes.NewReader(file(t, key)), stranger).Next(); err == nil || !strings.Contains(err.Error(), "not signed with a key that is trusted") {
		t.Error(err)
	}
}

// A file that is cut anywhere gives the parts before the cut and never an entry
// that was not signed.
func TestCutAnywhere(t *testing.T) {
	key, half := keys(t, 1)
	whole := file(t, key)
	firstEnds := bytes.Index(whole, []byte(`{"format":`)) + bytes.Index(whole[1:], []byte(`{"format":`)) + 1
	for cut := range whole {
		r := NewReader(bytes.NewReader(whole[:cut]), half)
		parts := 0
		for {
			_, _, err := r.Next()
			if err == nil {
				parts++
				continue
			}
			if !errors.Is(err, io.EOF) && !errors.Is(err, ErrCut) {
				t.Fatalf("cut at %d: %v", cut, err)
			}
			break
		}
		// The line feed at the very end says nothing.
		if want := map[bool]int{true: 1}[cut >= firstEnds-1]; parts != want && cut < len(whole)-1 {
			t.Fatalf("cut at %d of %d: %d parts, want %d", cut, len(whole), parts, want)
		}
	}
}

// No byte of a file can be changed without being noticed here or making another
// entry, which the service's own hashes find.
func TestAlteredOrderIsFound(t *testing.T) {
	key, half := keys(t, 1)
	lines := strings.SplitAfter(string(file(t, key)), "\n")
	lines[1], lines[2] = lines[2], lines[1]
	if _, _, err := NewReader(strings.NewReader(strings.Join(lines, "")), half).Next(); err == nil || !strings.Contains(err.Error(), "does not follow") {
		t.Error(err)
	}
	for _, change := range [][2]string{{`"site":"varrow"`, `"site":"skarn"`}, {`"last_sequence":3`, `"last_sequence":2`}, {hash(3), hash(9)}} {
		text := strings.Replace(string(file(t, key)), change[0], change[1], 1)
		if _, _, err := NewReader(strings.NewReader(text), half).Next(); err == nil {
			t.Errorf("%s for %s was not noticed", change[1], change[0])
		}
	}
	if err := Write(io.Discard, "varrow", []*bowrollv1.Movement{entries(1, 1)[0], entries(3, 3)[0]}, key); err == nil {
		t.Error("a gap was written")
	}
}

func FuzzReader(f *testing.F) {
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{1}, ed25519.SeedSize))
	var out bytes.Buffer
	if err := Write(&out, "varrow", entries(1, 2), key); err != nil {
		f.Fatal(err)
	}
	f.Add(out.Bytes())
	f.Add([]byte("{}\n"))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		r := NewReader(bytes.NewReader(data), key.Public().(ed25519.PublicKey))
		for range 100 {
			part, list, err := r.Next()
			if err != nil {
				return
			}
			if err := part.chained(list); err != nil {
				t.Fatal(err)
			}
		}
	})
}
