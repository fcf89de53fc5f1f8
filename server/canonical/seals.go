package canonical

import (
	"crypto/sha256"
	"encoding/hex"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/proto/layout"
)

// Seals remembers the sums of messages that many others hold, such as those of a
// catalog. It changes no digest, only how long one takes. Once filled it may be
// used by any number of goroutines. A nil Seals remembers nothing.
type Seals struct {
	sums  map[layout.Value][sha256.Size]byte
	forms sync.Pool // of *[]byte, to write canonical forms into
}

// mostKept is the longest form whose memory is kept for the next.
const mostKept = 64 << 10

// scratch is memory to write a form into.
func (s *Seals) scratch() *[]byte {
	if s != nil {
		if form, ok := s.forms.Get().(*[]byte); ok {
			return form
		}
	}
	form := make([]byte, 0, 1024)
	return &form
}

// Seal remembers the sums of messages, which must not change any more.
func Seal[M proto.Message](s *Seals, messages []M) {
	if s.sums == nil {
		s.sums = map[layout.Value][sha256.Size]byte{}
	}
	for _, m := range messages {
		_, at := layout.Of(m)
		s.sums[at] = sha256.Sum256(Append(nil, m))
	}
}

// Digest is the package's [Digest], sooner where messages are remembered.
func (s *Seals) Digest(messages ...proto.Message) string {
	form := s.scratch()
	b := (*form)[:0]
	for _, m := range messages {
		l, v := layout.Of(m)
		b = s.appendMessage(b, l, v)
	}
	sum := sha256.Sum256(b)
	if s != nil && len(b) <= mostKept {
		*form = b
		s.forms.Put(form)
	}
	const name = "sha256:"
	var text [len(name) + 32]byte
	hex.Encode(text[copy(text[:], name):], sum[:16])
	return string(text[:])
}

// sum is the sum over a sealed message's own form.
func (s *Seals) sum(l *layout.Message, m layout.Value) [sha256.Size]byte {
	if s != nil {
		if sum, ok := s.sums[m]; ok {
			return sum
		}
	}
	return sha256.Sum256(s.appendMessage(nil, l, m))
}

// sealed tells whether messages of a type enter others by their sum.
func sealed(name protoreflect.FullName) bool {
	switch name {
	case "bowroll.v1.AircraftType", "bowroll.v1.BoosterType", "bowroll.v1.Site", "bowroll.v1.Deck",
		"bowroll.v1.Surface", "bowroll.v1.Policy":
		return true
	}
	return false
}
