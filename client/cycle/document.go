package cycle

import (
	"bytes"
	"errors"
	"io"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A Document is a file as written, before it is read into a message.
type Document struct {
	name string
	root *yaml.Node
	flag map[*yaml.Node]string // flag that gave a node

	refused  Faults          // what is wrong with values before they are read
	supplied map[string]bool // paths that a fault of these leaves unwritten
}

// Read reads a launch cycle. name is how the file is called in faults. The
// error is a [Faults] where the file is at fault.
func Read(name string, source []byte) (*bowrollv1.Cycle, *Index, error) {
	document, err := Parse(name, source)
	if err != nil {
		return nil, nil, err
	}
	cycle := &bowrollv1.Cycle{}
	index, err := document.Decode(cycle)
	if err != nil {
		return nil, nil, err
	}
	return cycle, index, nil
}

// New returns an empty document, called name in faults, for [Document.Set] to
// fill.
func New(name string) *Document {
	return &Document{name: name, root: &yaml.Node{Kind: yaml.MappingNode}}
}

// Parse reads a file into a document. The error is a [Faults].
func Parse(name string, source []byte) (*Document, error) {
	decoder := yaml.NewDecoder(bytes.NewReader(source))
	var file, second yaml.Node
	switch err := decoder.Decode(&file); {
	case errors.Is(err, io.EOF):
		return nil, Faults{{Place: Place{File: name}, Problem: "is empty"}}
	case err != nil:
		return nil, Faults{unreadable(name, err)}
	}
	document := &Document{name: name, root: file.Content[0]}
	if err := decoder.Decode(&second); err == nil {
		return nil, Faults{{Place: document.place(&second), Problem: "a second document begins", Hint: "keep one document a file"}}
	} else if !errors.Is(err, io.EOF) {
		return nil, Faults{unreadable(name, err)}
	}
	return document, nil
}

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?`)

// unreadable turns an error of the YAML reader, which names a line at most,
// into a fault.
func unreadable(name string, err error) Fault {
	place := Place{File: name, Line: 1, Column: 1}
	match := yamlLine.FindStringSubmatch(err.Error())
	if match != nil && match[1] != "" {
		place.Line, _ = strconv.Atoi(match[1])
	}
	text := err.Error()
	if match != nil {
		text = strings.TrimPrefix(text, match[0])
	}
	return Fault{Place: place, Problem: "not readable as YAML: " + text, Hint: "a value with a comma or a colon inside {…} or […] needs quotes"}
}

// Set writes a value at a path of keys, e.g. air.temperature, in place of what
// stood there; loads[0] leads into the first item of a list. flag is how the
// value is called in faults, e.g. --temperature. A path that leads through
// something that holds no keys is a fault, which [Document.Decode] tells with all
// others.
func (d *Document) Set(path, text, flag string) {
	d.put(path, flag, &yaml.Node{Kind: yaml.ScalarNode, Value: text})
}

// SetList is Set for a list of values.
func (d *Document) SetList(path string, texts []string, flag string) {
	list := &yaml.Node{Kind: yaml.SequenceNode}
	for _, text := range texts {
		item := &yaml.Node{Kind: yaml.ScalarNode, Value: text}
		d.mark(item, flag)
		list.Content = append(list.Content, item)
	}
	d.put(path, flag, list)
}

// Refuse adds a fault to those that [Document.Decode] tells. What stays unwritten for
// it, at these paths, is not called missing too.
func (d *Document) Refuse(fault Fault, paths ...string) {
	d.refused = append(d.refused, fault)
	if d.supplied == nil {
		d.supplied = map[string]bool{}
	}
	for _, path := range paths {
		d.supplied[path] = true
	}
}

// put writes a node at a path of keys. Without a flag the nodes on the way there
// stand where the value does.
func (d *Document) put(path, flag string, value *yaml.Node) {
	at, steps := d.root, strings.Split(path, ".")
	line, column := value.Line, value.Column
	refuse := func(why string) {
		d.Refuse(Fault{Place: Place{d.name, line, column, flag}, Value: value.Value, Problem: why + ", so " + path + " cannot be set"})
	}
	for i, step := range steps {
		step, item := strings.CutSuffix(step, "[0]")
		if at.Kind != yaml.MappingNode {
			refuse(strings.Join(steps[:i], ".") + " holds no keys")
			return
		}
		child := valueOf(at, step)
		if child == nil {
			child = &yaml.Node{Kind: yaml.MappingNode, Line: line, Column: column}
			if item {
				child.Kind = yaml.SequenceNode
			}
			name := &yaml.Node{Kind: yaml.ScalarNode, Value: step, Line: line, Column: column}
			at.Content = append(at.Content, name, child)
			d.mark(name, flag)
			d.mark(child, flag)
		}
		if item {
			if child.Kind != yaml.SequenceNode {
				refuse(step + " is no list")
				return
			}
			if len(child.Content) == 0 {
				first := &yaml.Node{Kind: yaml.MappingNode, Line: line, Column: column}
				child.Content = append(child.Content, first)
				d.mark(first, flag)
			}
			child = child.Content[0]
		}
		if i == len(steps)-1 {
			// The whole node is replaced, so that nothing of the file is left in it.
			*child = *value
			d.mark(child, flag)
		}
		at = child
	}
}

func (d *Document) mark(node *yaml.Node, flag string) {
	if flag == "" {
		return
	}
	if d.flag == nil {
		d.flag = map[*yaml.Node]string{}
	}
	d.flag[node] = flag
}

// Clear removes the value at a key of the top, if there is one.
func (d *Document) Clear(name string) {
	if d.root.Kind != yaml.MappingNode {
		return
	}
	for i := 0; i < len(d.root.Content); i += 2 {
		if d.root.Content[i].Value == name {
			d.root.Content = append(d.root.Content[:i:i], d.root.Content[i+2:]...)
			return
		}
	}
}

// Has reports whether a key of the top is written.
func (d *Document) Has(name string) bool {
	return d.root.Kind == yaml.MappingNode && valueOf(d.root, name) != nil
}

// Decode reads the document into a message. The error is a [Faults]; the
// message then holds what could be read.
func (d *Document) Decode(into proto.Message) (*Index, error) {
	index, faults := d.decode(into)
	if len(faults) > 0 {
		return index, faults.sorted()
	}
	return index, nil
}

func (d *Document) decode(into proto.Message) (*Index, Faults) {
	r := &reader{document: d, index: newIndex(), faults: slices.Clone(d.refused), supplied: maps.Clone(d.supplied)}
	r.message(d.root, "", "", into.ProtoReflect())
	return r.index, r.faults
}

// place returns where a node was written.
func (d *Document) place(node *yaml.Node) Place {
	if flag, ok := d.flag[node]; ok {
		return Place{File: d.name, Flag: flag}
	}
	return Place{File: d.name, Line: node.Line, Column: node.Column}
}

// valueOf returns the value of a key of a mapping, or nil.
func valueOf(mapping *yaml.Node, name string) *yaml.Node {
	for i := 0; i+1 < len(mapping.Content); i += 2 {
		if mapping.Content[i].Value == name {
			return mapping.Content[i+1]
		}
	}
	return nil
}

// HasPath reports whether something is written at a path of keys, loads[0] for
// the first item of a list.
func (d *Document) HasPath(path string) bool {
	at := d.root
	for _, step := range strings.Split(path, ".") {
		step, item := strings.CutSuffix(step, "[0]")
		if at.Kind != yaml.MappingNode {
			return false
		}
		if at = valueOf(at, step); at == nil {
			return false
		}
		if item {
			if at.Kind != yaml.SequenceNode || len(at.Content) == 0 {
				return false
			}
			at = at.Content[0]
		}
	}
	return true
}
