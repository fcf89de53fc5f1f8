package server_test

import (
	"math"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// bodyPath is the verb and the path of a method whose request is a body, and a
// name of the built-in catalog where the path has one.
func bodyPath(method protoreflect.MethodDescriptor) (verb, path string, ok bool) {
	rule, _ := proto.GetExtension(method.Options(), annotations.E_Http).(*annotations.HttpRule)
	verb, path = http.MethodPost, rule.GetPost()
	if rule.GetPut() != "" {
		verb, path = http.MethodPut, rule.GetPut()
	}
	path = pathVariable.ReplaceAllString(path, "$1")
	path = strings.Replace(path, "sites/*", "sites/varrow", 1)
	return verb, strings.ReplaceAll(path, "*", "a-1"), rule.GetBody() == "*"
}

// pathVariable is a variable of a path, "{name=sites/*}".
var pathVariable = regexp.MustCompile(`\{[a-z_.]+=([^}]*)\}`)

// doubles returns the way to every double below m, field by field.
func doubles(m protoreflect.MessageDescriptor, above []protoreflect.FieldDescriptor) [][]protoreflect.FieldDescriptor {
	var found [][]protoreflect.FieldDescriptor
	for i := range m.Fields().Len() {
		fd := m.Fields().Get(i)
		chain := append(slices.Clone(above), fd)
		switch {
		case fd.Kind() == protoreflect.DoubleKind:
			found = append(found, chain)
		case fd.Message() != nil && fd.Message().ParentFile().Package() == m.ParentFile().Package():
			found = append(found, doubles(fd.Message(), chain)...)
		}
	}
	return found
}

// chainPath is the path of a chain whose lists have one element.
func chainPath(chain []protoreflect.FieldDescriptor) string {
	path := ""
	for i, fd := range chain {
		if i > 0 {
			path += "."
		}
		path += string(fd.Name())
		if fd.IsList() {
			path += "[0]"
		}
	}
	return path
}

// nested is the JSON object that holds value at the end of a chain.
func nested(chain []protoreflect.FieldDescriptor, value any) any {
	for _, fd := range slices.Backward(chain) {
		if fd.IsList() {
			value = []any{value}
		}
		value = map[string]any{string(fd.Name()): value}
	}
	return value
}

func setNaN(m protoreflect.Message, chain []protoreflect.FieldDescriptor) {
	for _, fd := range chain[:len(chain)-1] {
		if fd.IsList() {
			m = m.Mutable(fd).List().AppendMutable().Message()
		} else {
			m = m.Mutable(fd).Message()
		}
	}
	last := chain[len(chain)-1]
	if last.IsList() {
		m.Mutable(last).List().Append(protoreflect.ValueOfFloat64(math.NaN()))
		return
	}
	m.Set(last, protoreflect.ValueOfFloat64(math.NaN()))
}

func newMessage(t *testing.T, md protoreflect.MessageDescriptor) protoreflect.Message {
	t.Helper()
	mt, err := protoregistry.GlobalTypes.FindMessageByName(md.FullName())
	if err != nil {
		t.Fatal(err)
	}
	return mt.New()
}
