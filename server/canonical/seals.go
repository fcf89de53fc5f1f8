package canonical

import (
	"crypto/sha256"
	"encoding/hex"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Seals remembers the sums of messages that many others hold, such as those of a
// catalog. It changes no digest, only how long one takes. Once filled it may be
// used by any number of goroutines. A nil Seals remembers nothing.
type Seals struct {
	sums map[proto.Message][sha256.Size]byte
}

// Seal remembers the sums of messages, which must not change any more.
func Seal[M proto.Message](s *Seals, messages []M) {
	if s.sums == nil {
		s.sums = map[proto.Message][sha256.Size]byte{}
	}
	for _, m := range messages {
		s.sums[m] = sha256.Sum256(Append(nil, m))
	}
}

// Digest is the package's [Digest], sooner where messages are remembered.
func (s *Seals) Digest(messages ...proto.Message) string {
	sum := sha256.New()
	buf := make([]byte, 0, 1024)
	for _, m := range messages {
		buf = s.appendMessage(buf[:0], m.ProtoReflect())
		sum.Write(buf)
	}
	return "sha256:" + hex.EncodeToString(sum.Sum(nil))[:32]
}

// sum is the sum over a sealed message's own form.
func (s *Seals) sum(m protoreflect.Message) [sha256.Size]byte {
	if s != nil {
		if sum, ok := s.sums[m.Interface()]; ok {
			return sum
		}
	}
	return sha256.Sum256(s.appendMessage(nil, m))
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
