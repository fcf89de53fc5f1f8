package main

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/alecthomas/kong"
	"go.yaml.in/yaml/v3"

	"bowroll/server/nearest"
)

// fileLoader reads settings from YAML: flag names without dashes in front, and
// their values. A key that is no flag is refused.
func fileLoader(environment func(string) (string, bool)) kong.ConfigurationLoader {
	return func(r io.Reader) (kong.Resolver, error) {
		var document yaml.Node
		if err := yaml.NewDecoder(r).Decode(&document); err != nil && !errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("not YAML: %w", err)
		}
		f := &file{environment: environment, values: map[string]any{}}
		if len(document.Content) == 0 {
			return f, nil
		}
		root := document.Content[0]
		if root.Kind != yaml.MappingNode {
			return nil, fmt.Errorf("line %d: must be a list of settings, key: value", root.Line)
		}
		for i := 0; i+1 < len(root.Content); i += 2 {
			key, value := root.Content[i], root.Content[i+1]
			if _, twice := f.values[key.Value]; twice {
				f.faults = append(f.faults, fmt.Errorf("line %d: %s is given twice", key.Line, key.Value))
			}
			var v any
			if err := value.Decode(&v); err != nil {
				f.faults = append(f.faults, fmt.Errorf("line %d: %s: %w", key.Line, key.Value, err))
			}
			f.values[key.Value] = v
			f.keys = append(f.keys, key)
		}
		return f, nil
	}
}

// file is a file of settings, as kong asks for its values.
type file struct {
	environment func(string) (string, bool)
	values      map[string]any
	keys        []*yaml.Node
	faults      []error
}

// Validate refuses what the file holds that is no setting, all of it at once.
func (f *file) Validate(app *kong.Application) error {
	var known []string
	for _, group := range app.Leaves(false) {
		for _, flags := range group.AllFlags(true) {
			for _, flag := range flags {
				if flag.Name != "config" && flag.Name != "help" && !slices.Contains(known, flag.Name) {
					known = append(known, flag.Name)
				}
			}
		}
	}
	slices.Sort(known)
	faults := f.faults
	for _, key := range f.keys {
		if slices.Contains(known, key.Value) {
			continue
		}
		hint := ""
		if near, ok := nearest.Of(key.Value, known); ok {
			hint = ": did you mean " + near + "?"
		}
		faults = append(faults, fmt.Errorf("line %d: %s is no setting%s", key.Line, key.Value, hint))
	}
	return errors.Join(faults...)
}

// Resolve returns the file's value of a flag, unless the environment has one.
func (f *file) Resolve(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
	for _, name := range flag.Envs {
		if _, set := f.environment(name); set {
			return nil, nil
		}
	}
	value := f.values[flag.Name]
	if list, ok := value.([]any); ok {
		text := ""
		for i, v := range list {
			if i > 0 {
				text += ","
			}
			text += fmt.Sprint(v)
		}
		return text, nil
	}
	return value, nil
}
