// Package page cuts a sorted list into pages.
//
// A page token is opaque. It holds the key of the last item shown, and sums that
// pin it to the request and to the state of the data it was made for: with
// another filter, or once the data has changed, it is refused instead of
// showing some items twice and others never. Keys must not change while an item
// exists. A token authorises nothing.
package page

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"sort"
	"strings"
)

// Sizes of a page.
const (
	DefaultSize  = 50  // where the caller asks for none
	GreatestSize = 200 // whatever the caller asks for
)

// Faults of a token. Their texts are for callers.
var (
	ErrGarbled  = errors.New("not a page token of this service, or not a whole one")
	ErrRequest  = errors.New("from a request that asked for something else")
	ErrSnapshot = errors.New("from an earlier state of the data, which has changed since")
)

// A Request is what a caller wants of a list.
type Request struct {
	Size  int32  // 0 or less means DefaultSize, more than GreatestSize means that
	Token string // empty for the first page
	// Filter is everything but size and token that chooses the items: the name
	// of the list, its parent, its filter.
	Filter string
	// Snapshot is the state of the data that the items come from.
	Snapshot string
}

// Of returns the page of items that a request asks for and the token of the
// next, empty on the last. The items are in rising order of their keys, which
// differ. The error, if any, is one of the three above.
func Of[T any](sorted []T, key func(T) string, r Request) (items []T, next string, err error) {
	from := 0
	if r.Token != "" {
		after, err := decode(r)
		if err != nil {
			return nil, "", err
		}
		from = sort.Search(len(sorted), func(i int) bool { return key(sorted[i]) > after })
	}
	size := int(r.Size)
	if size <= 0 {
		size = DefaultSize
	}
	to := min(from+min(size, GreatestSize), len(sorted))
	if to < len(sorted) {
		next = encode(r, key(sorted[to-1]))
	}
	return sorted[from:to], next, nil
}

// A token, before base64: version, CRC-32 of what follows, 8 bytes each of the
// sums of filter and snapshot, and the key.
const (
	version    = 1
	sumBytes   = 8
	headBytes  = 1 + 4
	fixedBytes = headBytes + 2*sumBytes
)

var encoding = base64.RawURLEncoding.Strict()

func encode(r Request, after string) string {
	body := append(append(sum(r.Filter), sum(r.Snapshot)...), after...)
	token := binary.BigEndian.AppendUint32([]byte{version}, crc32.ChecksumIEEE(body))
	return encoding.EncodeToString(append(token, body...))
}

func decode(r Request) (after string, err error) {
	// The decoder passes over line ends; a token has none.
	if strings.ContainsAny(r.Token, "\r\n") {
		return "", ErrGarbled
	}
	token, err := encoding.DecodeString(r.Token)
	if err != nil || len(token) < fixedBytes || token[0] != version {
		return "", ErrGarbled
	}
	body := token[headBytes:]
	if crc32.ChecksumIEEE(body) != binary.BigEndian.Uint32(token[1:]) {
		return "", ErrGarbled
	}
	if string(body[:sumBytes]) != string(sum(r.Filter)) {
		return "", ErrRequest
	}
	if string(body[sumBytes:2*sumBytes]) != string(sum(r.Snapshot)) {
		return "", ErrSnapshot
	}
	return string(body[2*sumBytes:]), nil
}

func sum(text string) []byte {
	s := sha256.Sum256([]byte(text))
	return s[:sumBytes]
}
