package strictjson

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// submessage reads a message, also one with a JSON form of its own.
func (d *decoder) submessage(m protoreflect.Message) {
	if m.Descriptor().ParentFile().Package() != "google.protobuf" {
		d.message(m)
		return
	}
	raw := d.raw()
	if err := protojson.Unmarshal([]byte(raw), m.Interface()); err != nil {
		allowed := "a " + string(m.Descriptor().FullName()) + " in its JSON form"
		switch m.Descriptor().Name() {
		case "Timestamp":
			allowed = `an instant in RFC 3339 with its offset, e.g. "2031-04-05T04:30:00Z"`
		case "Duration":
			allowed = `a duration in seconds, e.g. "1.5s"`
		}
		d.fault("format", raw, allowed, "")
	}
}

// scalar reads a value that is no message, list or map; ok is false after a fault.
func (d *decoder) scalar(fd protoreflect.FieldDescriptor) (v protoreflect.Value, ok bool) {
	first := d.text[d.at]
	switch fd.Kind() {
	case protoreflect.StringKind:
		if first == '"' {
			s, whole := d.str()
			if !whole {
				d.fault("utf8", "", "text in UTF-8", "a character in it is broken")
				return v, false
			}
			return protoreflect.ValueOfString(s), true
		}
	case protoreflect.BoolKind:
		if first == 't' || first == 'f' {
			return protoreflect.ValueOfBool(d.raw() == "true"), true
		}
	case protoreflect.EnumKind:
		return d.enum(fd)
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		if numeric(first) {
			return d.float(fd)
		}
	case protoreflect.BytesKind:
		if first == '"' {
			return d.bytes()
		}
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind,
		protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		if numeric(first) || first == '"' {
			return d.integer(fd)
		}
	default:
		if numeric(first) {
			return d.integer(fd)
		}
	}
	d.wrongType(kindText(fd))
	return v, false
}

func numeric(c byte) bool { return c == '-' || c >= '0' && c <= '9' }

func (d *decoder) float(fd protoreflect.FieldDescriptor) (v protoreflect.Value, ok bool) {
	raw := d.raw()
	bits := 64
	if fd.Kind() == protoreflect.FloatKind {
		bits = 32
	}
	f, err := strconv.ParseFloat(raw, bits)
	if err != nil {
		d.fault("range", raw, "a finite number", "too large for a double")
		return v, false
	}
	if bits == 32 {
		return protoreflect.ValueOfFloat32(float32(f)), true
	}
	return protoreflect.ValueOfFloat64(f), true
}

// integer reads a whole number, also in a form such as 2.0 or 2e3.
func (d *decoder) integer(fd protoreflect.FieldDescriptor) (v protoreflect.Value, ok bool) {
	raw := d.raw()
	text := strings.Trim(raw, `"`)
	if f, err := strconv.ParseFloat(text, 64); err == nil && f == math.Trunc(f) && math.Abs(f) < 1<<53 && strings.ContainsAny(text, ".eE") {
		text = strconv.FormatInt(int64(f), 10)
	}
	var err error
	switch fd.Kind() {
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		var n uint64
		n, err = strconv.ParseUint(text, 10, 32)
		v = protoreflect.ValueOfUint32(uint32(n))
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		var n uint64
		n, err = strconv.ParseUint(text, 10, 64)
		v = protoreflect.ValueOfUint64(n)
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		var n int64
		n, err = strconv.ParseInt(text, 10, 64)
		v = protoreflect.ValueOfInt64(n)
	default:
		var n int64
		n, err = strconv.ParseInt(text, 10, 32)
		v = protoreflect.ValueOfInt32(int32(n))
	}
	if err != nil {
		d.fault("range", raw, kindText(fd), "")
		return v, false
	}
	return v, true
}

func (d *decoder) enum(fd protoreflect.FieldDescriptor) (v protoreflect.Value, ok bool) {
	values := fd.Enum().Values()
	if d.text[d.at] != '"' {
		d.fault("enum", d.raw(), enumNames(values), "send the name")
		return v, false
	}
	name, _ := d.str()
	value := values.ByName(protoreflect.Name(name))
	if value == nil {
		d.fault("enum", name, enumNames(values), suggest(name, enumList(values)))
		return v, false
	}
	return protoreflect.ValueOfEnum(value.Number()), true
}

func (d *decoder) bytes() (v protoreflect.Value, ok bool) {
	text, _ := d.str()
	encoding := base64.StdEncoding
	if strings.ContainsAny(text, "-_") {
		encoding = base64.URLEncoding
	}
	if len(text)%4 != 0 {
		encoding = encoding.WithPadding(base64.NoPadding)
	}
	b, err := encoding.DecodeString(text)
	if err != nil {
		d.fault("format", text, "base64", "")
		return v, false
	}
	return protoreflect.ValueOfBytes(b), true
}

// str reads the string at the reader; whole is false where a character of it is
// broken: bytes that are not UTF-8, or half of a surrogate pair.
func (d *decoder) str() (s string, whole bool) {
	from := d.at
	d.skipString()
	quoted := d.text[from:d.at]
	inside := quoted[1 : len(quoted)-1]
	if !utf8.Valid(inside) {
		return strings.ToValidUTF8(string(inside), "\uFFFD"), false
	}
	if bytes.IndexByte(inside, '\\') < 0 {
		return string(inside), true
	}
	if json.Unmarshal(quoted, &s) != nil {
		return "", false
	}
	// The standard library puts U+FFFD where an escape is half of a pair.
	broken := strings.Count(s, "\uFFFD") > bytes.Count(inside, []byte("\uFFFD"))+bytes.Count(bytes.ToLower(inside), []byte(`\ufffd`))
	return s, !broken
}

func mapKey(fd protoreflect.FieldDescriptor, key string) (k protoreflect.MapKey, ok bool) {
	switch fd.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(key).MapKey(), true
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(key == "true").MapKey(), key == "true" || key == "false"
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		n, err := strconv.ParseInt(key, 10, 32)
		return protoreflect.ValueOfInt32(int32(n)).MapKey(), err == nil
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		n, err := strconv.ParseUint(key, 10, 32)
		return protoreflect.ValueOfUint32(uint32(n)).MapKey(), err == nil
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		n, err := strconv.ParseUint(key, 10, 64)
		return protoreflect.ValueOfUint64(n).MapKey(), err == nil
	default:
		n, err := strconv.ParseInt(key, 10, 64)
		return protoreflect.ValueOfInt64(n).MapKey(), err == nil
	}
}
