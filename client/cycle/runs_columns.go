package cycle

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// runColumns are the columns of a CSV file of observed runs.
type runColumns struct {
	file   string
	paths  []string // of keys; empty where the column is no key of a run
	tags   []string // !!str where a key takes text, which needs no quotes in a cell
	meant  []string // paths that were probably meant by columns that are none
	faults Faults
}

// readRunColumns holds the names of columns against the keys of a run.
func readRunColumns(file string, names []cell) *runColumns {
	c, r := &runColumns{file: file}, &reader{document: New(file), index: newIndex()}
	first := map[string]Place{}
	for _, name := range names {
		path, tag := name.text, ""
		node := &yaml.Node{Kind: yaml.MappingNode, Line: name.place.Line, Column: name.place.Column}
		if at, twice := first[path]; twice {
			r.fault(node, path, "is written twice", "", "first at "+at.String())
			path = ""
		} else {
			first[path] = name.place
			k, meant := r.column(node, path)
			if k == nil {
				path = ""
			} else if k.field.Kind() == protoreflect.StringKind {
				tag = "!!str"
			}
			c.meant = append(c.meant, meant)
		}
		c.paths, c.tags = append(c.paths, path), append(c.tags, tag)
	}
	c.faults = r.faults
	return c
}

// column is the key of a run that a path leads to, where that takes one value. If
// there is none it faults the path, and says what was probably meant.
func (r *reader) column(node *yaml.Node, path string) (found *key, meant string) {
	message := (&bowrollv1.ObservedRun{}).ProtoReflect().Descriptor()
	above, steps := "", strings.Split(path, ".")
	for i, step := range steps {
		name, first := strings.CutSuffix(step, "[0]")
		k, near := r.find(&yaml.Node{Kind: yaml.ScalarNode, Value: name, Line: node.Line, Column: node.Column}, above, keysOf(message))
		if k == nil {
			return nil, join(above, near)
		}
		above = join(above, step)
		last, nested := i == len(steps)-1, k.field.Message() != nil && !isInstant(k.field)
		switch {
		case first && !k.field.IsList():
			r.fault(node, path, name+" is no list", "", "")
			return nil, ""
		case !first && k.field.IsList():
			r.fault(node, path, name+" is a list", "", "name its first item: "+above+"[0]")
			return nil, ""
		case last && nested:
			r.fault(node, path, "holds keys", "", "name a column for each, e.g. "+join(path, keysOf(k.field.Message())[0].name))
			return nil, path
		case !last && !nested:
			r.fault(node, path, above+" holds no keys", "", "")
			return nil, above
		}
		found, message = k, k.field.Message()
	}
	return found, ""
}

// once says of a column that is not there that it is missing once, where every row
// lacks it, and not at all where a column was probably meant to be it.
func (c *runColumns) once(faults Faults) (list Faults) {
	known := slices.Concat(c.paths, c.meant)
	for _, fault := range faults {
		if fault.Problem == missing && !slices.Contains(c.paths, fault.Path) {
			if slices.Contains(known, fault.Path) {
				continue
			}
			known = append(known, fault.Path)
			fault.Place = Place{File: c.file, Line: 1, Column: 1}
			fault.Hint = "name a column " + fault.Path
		}
		list = append(list, fault)
	}
	return list
}
