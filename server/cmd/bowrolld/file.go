package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"

	"github.com/alecthomas/kong"
	"go.yaml.in/yaml/v3"

	"bowroll/perf/violation"
	"bowroll/server/nearest"
)

// longestFile is the longest file of settings that is read, in bytes.
const longestFile = 64 << 10

// fileLoader reads settings from YAML: flag names without dashes in front, and
// their values, one value or a list of such. What is at fault is refused all at
// once, before any setting is used.
func fileLoader(environment func(string) (string, bool), flags func() []*kong.Flag) kong.ConfigurationLoader {
	return func(r io.Reader) (kong.Resolver, error) {
		f := &file{name: "the file of settings", environment: environment, values: map[string]any{}}
		if named, ok := r.(interface{ Name() string }); ok {
			f.name = named.Name()
		}
		source, err := io.ReadAll(io.LimitReader(r, longestFile+1))
		if err != nil {
			return nil, err
		}
		if len(source) > longestFile {
			return nil, fmt.Errorf("%s is longer than %d KiB: settings are a few lines", f.name, longestFile>>10)
		}
		root, err := f.parse(source)
		if err != nil || root == nil {
			return f, err
		}
		f.read(root, flags())
		return f, errors.Join(f.faults...)
	}
}

// settable are the flags that a file may set.
func settable(app *kong.Application) (list []*kong.Flag) {
	for _, leaf := range app.Leaves(false) {
		for _, group := range leaf.AllFlags(true) {
			for _, flag := range group {
				if flag.Name != "config" && flag.Name != "help" {
					list = append(list, flag)
				}
			}
		}
	}
	return list
}

// file is a file of settings, as kong asks for its values.
type file struct {
	name        string
	environment func(string) (string, bool)
	values      map[string]any // texts, as flags are written
	faults      []error
}

// fault notes what is wrong at a line.
func (f *file) fault(line int, format string, args ...any) {
	f.faults = append(f.faults, fmt.Errorf("%s:%d: %s", f.name, line, fmt.Sprintf(format, args...)))
}

// parse returns the root of the one document that a file holds; nil of an empty one.
func (f *file) parse(source []byte) (*yaml.Node, error) {
	decoder := yaml.NewDecoder(bytes.NewReader(source))
	var first, second yaml.Node
	switch err := decoder.Decode(&first); {
	case errors.Is(err, io.EOF):
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("%s is not YAML: %w", f.name, err)
	}
	switch err := decoder.Decode(&second); {
	case err == nil:
		f.fault(second.Line, "a second document begins: keep one a file")
	case !errors.Is(err, io.EOF):
		return nil, fmt.Errorf("%s is not YAML: %w", f.name, err)
	}
	return first.Content[0], nil
}

// read takes the settings in and notes what is wrong with them. Values are never
// expanded: a reference is refused where it stands.
func (f *file) read(root *yaml.Node, flags []*kong.Flag) {
	if root.Kind != yaml.MappingNode {
		f.fault(root.Line, "must be a list of settings, key: value")
		return
	}
	byName := map[string]*kong.Flag{}
	var names []string
	for _, flag := range flags {
		if byName[flag.Name] == nil {
			byName[flag.Name], names = flag, append(names, flag.Name)
		}
	}
	slices.Sort(names)
	first := map[string]int{}
	for i := 0; i+1 < len(root.Content); i += 2 {
		key, value := root.Content[i], root.Content[i+1]
		if !plain(key) || !violation.Bare(key.Value) {
			f.fault(key.Line, "a setting's name must be one word, written out")
			continue
		}
		name := key.Value
		if line, twice := first[name]; twice {
			f.fault(key.Line, "%s is given twice, first in line %d", name, line)
			continue
		}
		first[name] = key.Line
		flag := byName[name]
		if flag == nil {
			hint := ""
			if near, ok := nearest.Of(name, names); ok {
				hint = ": did you mean " + near + "?"
			}
			f.fault(key.Line, "%s is no setting%s", name, hint)
			continue
		}
		if text, ok := f.text(value, flag); ok {
			f.values[name] = text
		}
	}
}

// text is a value as the flag is written, if the flag takes it.
func (f *file) text(value *yaml.Node, flag *kong.Flag) (text string, ok bool) {
	switch {
	case plain(value):
		text = value.Value
	case value.Kind == yaml.SequenceNode && value.Anchor == "" && flag.IsSlice():
		var items []string
		for _, item := range value.Content {
			if !plain(item) {
				f.fault(item.Line, "%s: each item must be one value, written out", flag.Name)
				return "", false
			}
			items = append(items, item.Value)
		}
		text = kong.JoinEscaped(items, flag.Tag.Sep)
	case value.Kind == yaml.ScalarNode && value.Anchor == "" && value.ShortTag() == "!!null":
		f.fault(value.Line, `%s is blank: write its value, "" for none, or leave the key out`, flag.Name)
		return "", false
	default:
		what := "one value"
		if flag.IsSlice() {
			what = "one value or a list of them"
		}
		f.fault(value.Line, "%s must be %s, written out", flag.Name, what)
		return "", false
	}
	into := reflect.New(flag.Target.Type()).Elem()
	scan := kong.Scan().PushTyped(text, kong.FlagValueToken)
	if err := flag.Mapper.Decode(&kong.DecodeContext{Value: flag.Value, Scan: scan}, into); err != nil {
		f.fault(value.Line, "%s: %v", flag.Name, err)
		return "", false
	}
	if allowed := flag.EnumSlice(); flag.Enum != "" && !slices.Contains(allowed, text) {
		f.fault(value.Line, "%s must be one of %q but is %q", flag.Name, allowed, text)
		return "", false
	}
	return text, true
}

// plain says that a node is one value, written out: no reference, no anchor for
// one, no tag that would make it something else, and not blank.
func plain(node *yaml.Node) bool {
	return node.Kind == yaml.ScalarNode && node.Anchor == "" && node.Style&yaml.TaggedStyle == 0 &&
		node.ShortTag() != "!!null" && node.ShortTag() != "!!merge"
}

// Validate has nothing left to refuse.
func (f *file) Validate(*kong.Application) error { return nil }

// Resolve returns the file's value of a flag, unless the environment has one.
func (f *file) Resolve(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
	for _, name := range flag.Envs {
		if _, set := f.environment(name); set {
			return nil, nil
		}
	}
	return f.values[flag.Name], nil
}
