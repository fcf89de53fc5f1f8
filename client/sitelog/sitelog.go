// Package sitelog writes and reads the log of a site as a file that can be carried
// over a slow link or by hand: parts that are signed by the site and follow one
// another.
//
// A part is one line of JSON that says which entries it holds, what they follow
// and what they end in, under the site's Ed25519 signature (RFC 8032), and then one
// line for each entry. The entries are chained by hash, so that a signature over
// the last hash holds for all before it, and so are the digests of readings and
// plans that entries carry; the service that merges them checks the signature and
// computes every hash again from what was sent.
//
// A file may end anywhere: what came whole is good, and the next file begins after
// it.
package sitelog

import (
	"bufio"
	"bytes"
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/logpart"
)

// MostEntries is the most entries of one part.
const MostEntries = 500

// longestLine is the longest line that is read: an entry may carry a whole plan.
const longestLine = 8 << 20

// Part is the first line of a part.
type Part struct {
	Format string `json:"format"`
	Site   string `json:"site"`
	// FirstSequence and LastSequence are the first and the last entry in it.
	FirstSequence int32 `json:"first_sequence"`
	LastSequence  int32 `json:"last_sequence"`
	// PreviousHash is the hash of the entry before the first, Hash that of the last.
	PreviousHash string `json:"previous_hash"`
	Hash         string `json:"hash"`
	// Signature is the site's, over [logpart.Text].
	Signature []byte `json:"signature"`
}

// signed is what the signature is over.
func (p Part) signed() []byte {
	return logpart.Text(p.Site, p.FirstSequence, p.PreviousHash, p.LastSequence, p.Hash)
}

// Write writes entries, 1 to [MostEntries] that follow one another, as one part.
func Write(w io.Writer, site string, entries []*bowrollv1.Movement, key ed25519.PrivateKey) error {
	if len(entries) == 0 || len(entries) > MostEntries {
		return fmt.Errorf("a part holds 1 to %d entries, not %d", MostEntries, len(entries))
	}
	first, last := entries[0], entries[len(entries)-1]
	part := Part{
		Format: logpart.Format, Site: site, FirstSequence: first.GetSequence(), LastSequence: last.GetSequence(),
		PreviousHash: first.GetPreviousHash(), Hash: last.GetHash(),
	}
	if err := part.chained(entries); err != nil {
		return err
	}
	part.Signature = ed25519.Sign(key, part.signed())
	var out bytes.Buffer
	line, err := json.Marshal(part)
	if err != nil {
		return err
	}
	out.Write(append(line, '\n'))
	for _, m := range entries {
		if err := AppendEntry(&out, m); err != nil {
			return err
		}
	}
	_, err = w.Write(out.Bytes())
	return err
}

// AppendEntry writes an entry as one line of JSON, always the same for the same
// entry.
func AppendEntry(out *bytes.Buffer, m *bowrollv1.Movement) error {
	loose, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return err
	}
	// protojson varies its white space.
	if err := json.Compact(out, loose); err != nil {
		return err
	}
	return out.WriteByte('\n')
}

// Follows returns an error where an entry is not the next after the one with that
// number and hash.
func Follows(m *bowrollv1.Movement, sequence int32, hash string) error {
	if m.GetSequence() != sequence+1 || m.GetPreviousHash() != hash {
		return fmt.Errorf("entry %d does not follow from entry %d", m.GetSequence(), sequence)
	}
	return nil
}

// chained checks that entries are those that the part names, each following from
// the one before it.
func (p Part) chained(entries []*bowrollv1.Movement) error {
	last, hash := p.FirstSequence-1, p.PreviousHash
	for _, m := range entries {
		if err := Follows(m, last, hash); err != nil {
			return err
		}
		last, hash = m.GetSequence(), m.GetHash()
	}
	if last != p.LastSequence || hash != p.Hash {
		return fmt.Errorf("the part ends at entry %d, and should at entry %d with hash %s", last, p.LastSequence, p.Hash)
	}
	return nil
}

// ErrCut says that a file ends inside a part.
var ErrCut = errors.New("the file ends inside a part")

// Reader reads a file part by part.
type Reader struct {
	lines *bufio.Scanner
	trust []ed25519.PublicKey
	line  int
}

// NewReader returns a reader that takes parts signed with one of the keys; with
// none, that leaves it to the service to judge who signed.
func NewReader(r io.Reader, trust ...ed25519.PublicKey) *Reader {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, longestLine)
	return &Reader{lines: lines, trust: trust}
}

// Next returns the next part, whose signature and order hold; io.EOF after the
// last, and [ErrCut] where the file ends inside one.
func (r *Reader) Next() (Part, []*bowrollv1.Movement, error) {
	var part Part
	text, err := r.read()
	if err != nil {
		return part, nil, err
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&part); err != nil || part.Format != logpart.Format {
		if !r.more() {
			return part, nil, ErrCut // the last line, and not whole
		}
		return part, nil, fmt.Errorf("line %d is not the beginning of a part of a log (%s)", r.line, logpart.Format)
	}
	if !r.trusted(part) {
		return part, nil, fmt.Errorf("line %d: entries %d to %d of %s are not signed with a key that is trusted", r.line, part.FirstSequence, part.LastSequence, part.Site)
	}
	count := int(part.LastSequence) - int(part.FirstSequence) + 1
	if count < 1 || count > MostEntries {
		return part, nil, fmt.Errorf("line %d: a part of %d entries: it holds 1 to %d", r.line, count, MostEntries)
	}
	entries := make([]*bowrollv1.Movement, 0, count)
	for range count {
		text, err := r.read()
		if errors.Is(err, io.EOF) {
			return part, nil, ErrCut
		}
		if err != nil {
			return part, nil, err
		}
		m := &bowrollv1.Movement{}
		if err := protojson.Unmarshal(text, m); err != nil {
			if !r.more() {
				return part, nil, ErrCut
			}
			return part, nil, fmt.Errorf("line %d is not an entry of a log: %s", r.line, strings.ReplaceAll(err.Error(), "\u00a0", " "))
		}
		entries = append(entries, m)
	}
	if err := part.chained(entries); err != nil {
		return part, nil, fmt.Errorf("line %d: %w", r.line, err)
	}
	return part, entries, nil
}

func (r *Reader) trusted(part Part) bool {
	for _, key := range r.trust {
		if ed25519.Verify(key, part.signed(), part.Signature) {
			return true
		}
	}
	return len(r.trust) == 0
}

// read returns the next line.
func (r *Reader) read() ([]byte, error) {
	if !r.lines.Scan() {
		if err := r.lines.Err(); err != nil {
			return nil, fmt.Errorf("after line %d: %w", r.line, err)
		}
		return nil, io.EOF
	}
	r.line++
	return r.lines.Bytes(), nil
}

// more reports whether a line follows.
func (r *Reader) more() bool { return r.lines.Scan() }
