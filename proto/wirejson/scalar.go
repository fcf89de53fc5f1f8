package wirejson

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// appendFloat writes f with the fewest digits that read back to the same bits,
// with an exponent below 1e-6 and from 1e21 on, as ECMAScript does.
func appendFloat(b []byte, fd protoreflect.FieldDescriptor, f float64, bits int) ([]byte, error) {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return b, fmt.Errorf("%s: %v has no JSON form", fd.FullName(), f)
	}
	if size := math.Abs(f); size == 0 || size >= 1e-6 && size < 1e21 {
		return strconv.AppendFloat(b, f, 'f', -1, bits), nil
	}
	b = strconv.AppendFloat(b, f, 'e', -1, bits)
	// e-09 is written e-9.
	if n := len(b); b[n-4] == 'e' && b[n-3] == '-' && b[n-2] == '0' {
		b[n-2] = b[n-1]
		b = b[:n-1]
	}
	return b, nil
}

var errNotUTF8 = errors.New("text is not UTF-8")

// appendString writes s in quotes, escaping what JSON does not permit bare.
func appendString(b []byte, s string) ([]byte, error) {
	if !utf8.ValidString(s) {
		return b, errNotUTF8
	}
	const hex = "0123456789abcdef"
	b = append(b, '"')
	from := 0
	for i := range len(s) {
		c := s[i]
		if c >= 0x20 && c != '"' && c != '\\' {
			continue
		}
		b = append(b, s[from:i]...)
		from = i + 1
		switch c {
		case '"', '\\':
			b = append(b, '\\', c)
		case '\n':
			b = append(b, '\\', 'n')
		case '\r':
			b = append(b, '\\', 'r')
		case '\t':
			b = append(b, '\\', 't')
		default:
			b = append(b, '\\', 'u', '0', '0', hex[c>>4], hex[c&15])
		}
	}
	return append(append(b, s[from:]...), '"'), nil
}
