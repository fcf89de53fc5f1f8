package catalog

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Files writes a snapshot as the files of a folder: one an aircraft type, one a
// booster type, and one a site with its decks. [FromFiles] makes the same
// revision of them.
func (s *Snapshot) Files() []*bowrollv1.CatalogFile {
	var files []*bowrollv1.CatalogFile
	add := func(path string, sections ...*yaml.Node) {
		files = append(files, &bowrollv1.CatalogFile{Path: path, Text: document(sections)})
	}
	for _, m := range s.aircraft.sorted {
		add("aircraft-types/"+idOf(m)+".yaml", text("aircraft_types"), list(m))
	}
	for _, m := range s.boosters.sorted {
		add("booster-types/"+idOf(m)+".yaml", text("booster_types"), list(m))
	}
	for _, site := range s.sites.sorted {
		sections := []*yaml.Node{text("sites"), list(site)}
		decks := &yaml.Node{Kind: yaml.SequenceNode}
		for _, deck := range s.Decks(site.GetName()) {
			decks.Content = append(decks.Content, messageNode(deck.ProtoReflect(), 0))
		}
		if len(decks.Content) > 0 {
			sections = append(sections, text("decks"), decks)
		}
		add("sites/"+idOf(site)+".yaml", sections...)
	}
	return files
}

// idOf is the last part of a name.
func idOf(m resource) string { return m.GetName()[strings.LastIndexByte(m.GetName(), '/')+1:] }

func list(m resource) *yaml.Node {
	return &yaml.Node{Kind: yaml.SequenceNode, Content: []*yaml.Node{messageNode(m.ProtoReflect(), 0)}}
}

// text is a text, in quotes where YAML would read it as something else.
func text(s string) *yaml.Node {
	n := &yaml.Node{}
	n.SetString(s)
	return n
}

// document writes keys and values.
func document(pairs []*yaml.Node) string {
	var out bytes.Buffer
	encoder := yaml.NewEncoder(&out)
	encoder.SetIndent(2)
	// A tree of plain nodes in memory cannot fail to be written.
	_ = encoder.Encode(&yaml.Node{Kind: yaml.MappingNode, Content: pairs})
	_ = encoder.Close()
	return out.String()
}

// messageNode writes what is set in a message, in the order of the contract.
// Things inside the items of a list stand on one line.
func messageNode(m protoreflect.Message, depth int) *yaml.Node {
	n := &yaml.Node{Kind: yaml.MappingNode}
	if depth > 1 {
		n.Style = yaml.FlowStyle
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if !m.Has(fd) || isOutputOnly(fd) {
			continue
		}
		var value *yaml.Node
		if fd.IsList() {
			value = &yaml.Node{Kind: yaml.SequenceNode}
			if fd.Message() == nil || depth > 0 {
				value.Style = yaml.FlowStyle
			}
			for j := range m.Get(fd).List().Len() {
				value.Content = append(value.Content, nodeOf(fd, m.Get(fd).List().Get(j), depth+2))
			}
		} else {
			value = nodeOf(fd, m.Get(fd), depth+1)
		}
		n.Content = append(n.Content, text(string(fd.Name())), value)
	}
	return n
}

// valueNode writes one value on one line.
func valueNode(fd protoreflect.FieldDescriptor, v protoreflect.Value) *yaml.Node {
	return nodeOf(fd, v, 2)
}

func nodeOf(fd protoreflect.FieldDescriptor, v protoreflect.Value, depth int) *yaml.Node {
	plain := func(value string) *yaml.Node { return &yaml.Node{Kind: yaml.ScalarNode, Value: value} }
	switch fd.Kind() {
	case protoreflect.MessageKind:
		return messageNode(v.Message(), depth)
	case protoreflect.DoubleKind:
		// The fewest digits that read back as the same number.
		return plain(strconv.FormatFloat(v.Float(), 'g', -1, 64))
	case protoreflect.EnumKind:
		return plain(string(fd.Enum().Values().ByNumber(v.Enum()).Name()))
	case protoreflect.BoolKind:
		return plain(strconv.FormatBool(v.Bool()))
	case protoreflect.StringKind:
		return text(v.String())
	}
	return plain(fmt.Sprint(v.Interface()))
}

// flow is a node on one line.
func flow(n *yaml.Node) string {
	if n.Kind == yaml.ScalarNode {
		return n.Value
	}
	out, err := yaml.Marshal(n)
	if err != nil { // a tree of plain nodes cannot fail
		return ""
	}
	return strings.Join(strings.Fields(string(out)), " ")
}
