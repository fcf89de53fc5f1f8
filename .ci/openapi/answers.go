package main

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// showAll requires every key of what is only ever answered: an answer shows all
// of them. What requests hold too keeps to what a request needs.
func showAll(root *yaml.Node) {
	definitions := get(root, "definitions")
	asked, answered := map[string]bool{}, map[string]bool{}
	paths := get(root, "paths")
	for i := 1; i < len(paths.Content); i += 2 {
		for j := 1; j < len(paths.Content[i].Content); j += 2 {
			operation := paths.Content[i].Content[j]
			reach(get(operation, "parameters"), definitions, asked)
			reach(get(operation, "responses"), definitions, answered)
		}
	}
	for i := 0; i+1 < len(definitions.Content); i += 2 {
		name, definition := definitions.Content[i].Value, definitions.Content[i+1]
		properties := get(definition, "properties")
		if asked[name] || !answered[name] || properties == nil {
			continue
		}
		list := &yaml.Node{Kind: yaml.SequenceNode}
		for j := 0; j+1 < len(properties.Content); j += 2 {
			list.Content = append(list.Content, scalar(properties.Content[j].Value))
		}
		if get(definition, "required") != nil {
			replace(definition, "required", list)
		} else {
			definition.Content = append(definition.Content, scalar("required"), list)
		}
	}
}

// reach marks every definition that n refers to, however deep.
func reach(n, definitions *yaml.Node, seen map[string]bool) {
	if n == nil {
		return
	}
	if ref := get(n, "$ref"); n.Kind == yaml.MappingNode && ref != nil {
		name := strings.TrimPrefix(ref.Value, "#/definitions/")
		if !seen[name] {
			seen[name] = true
			reach(get(definitions, name), definitions, seen)
		}
		return
	}
	for _, inner := range slices.Clone(n.Content) {
		reach(inner, definitions, seen)
	}
}
