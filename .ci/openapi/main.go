// Command openapi makes the generated OpenAPI file say what the gateway does:
// an absent message is null, and a stream is newline-delimited JSON. It keeps the
// order of the file, and writes beside it the same as OpenAPI 3, from which clients
// are generated and in which answers show every key.
package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"strings"

	"go.yaml.in/yaml/v3"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: openapi FILE")
		os.Exit(2)
	}
	if err := run(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "openapi:", err)
		os.Exit(1)
	}
}

func run(path string) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	var document yaml.Node // JSON is YAML, and its nodes keep their order
	if err := yaml.Unmarshal(text, &document); err != nil {
		return err
	}
	root := document.Content[0]
	nullMessages(get(root, "definitions"))
	streams(get(root, "paths"))
	second, err := indented(root)
	if err != nil {
		return err
	}
	if err := os.WriteFile(path, second, 0o644); err != nil {
		return err
	}
	showAll(root)
	if second, err = indented(root); err != nil {
		return err
	}
	third, err := third(second)
	if err != nil {
		return err
	}
	return os.WriteFile(strings.TrimSuffix(path, ".swagger.json")+".openapi.json", third, 0o644)
}

// indented returns n as JSON for people.
func indented(n *yaml.Node) ([]byte, error) {
	var out bytes.Buffer
	write(&out, n)
	var indented bytes.Buffer
	if err := json.Indent(&indented, out.Bytes(), "", "  "); err != nil {
		return nil, err
	}
	indented.WriteByte('\n')
	return indented.Bytes(), nil
}

// nullMessages lets every property that is one message be null.
func nullMessages(definitions *yaml.Node) {
	for i := 1; i < len(definitions.Content); i += 2 {
		properties := get(definitions.Content[i], "properties")
		if properties == nil {
			continue
		}
		for j := 1; j < len(properties.Content); j += 2 {
			property := properties.Content[j]
			target := refOf(property)
			message := target != "" && get(get(definitions, target), "enum") == nil
			// An instant is a message too, though written as text.
			if get(property, "x-nullable") != nil {
				continue
			}
			if format := get(property, "format"); message || format != nil && format.Value == "date-time" {
				set(property, "x-nullable", "true", "!!bool")
			}
		}
	}
}

// refOf returns the definition that a property refers to, "Air".
func refOf(property *yaml.Node) string {
	if all := get(property, "allOf"); all != nil && len(all.Content) == 1 {
		property = all.Content[0]
	}
	ref := get(property, "$ref")
	if ref == nil {
		return ""
	}
	return strings.TrimPrefix(ref.Value, "#/definitions/")
}

// streams replaces the envelope that the library would put around each answer
// of a stream by what a line is.
func streams(paths *yaml.Node) {
	for i := 1; i < len(paths.Content); i += 2 {
		for j := 1; j < len(paths.Content[i].Content); j += 2 {
			operation := paths.Content[i].Content[j]
			good := get(get(operation, "responses"), "200")
			if description := get(good, "description"); description != nil && strings.Contains(description.Value, "(streaming responses)") {
				description.Value = "Newline-delimited JSON: an object on each line, its \"type\" first: \"item\", or \"progress\" where the method tells how far it is, at the end a line {\"type\": \"summary\", \"complete\": true, \"item_count\": ...}. A stream that broke off ends in a line of \"type\": \"error\" with code, message and violations, or in none of them."
				replace(good, "schema", mapping("type", "string"))
				insertList(operation, "produces", "application/x-ndjson")
				if parameters := get(operation, "parameters"); parameters != nil && strings.Contains(get(parameters.Content[0], "description").Value, "(streaming inputs)") {
					insertList(operation, "consumes", "application/x-ndjson")
				}
			}
		}
	}
}

// get returns the value of key in a mapping, or nil.
func get(n *yaml.Node, key string) *yaml.Node {
	if n == nil {
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return n.Content[i+1]
		}
	}
	return nil
}

func set(n *yaml.Node, key, value, tag string) {
	n.Content = append(n.Content, scalar(key), &yaml.Node{Kind: yaml.ScalarNode, Tag: tag, Value: value})
}

func replace(n *yaml.Node, key string, value *yaml.Node) {
	if old := get(n, key); old != nil {
		*old = *value
	}
}

func insertList(n *yaml.Node, key, value string) {
	list := &yaml.Node{Kind: yaml.SequenceNode, Content: []*yaml.Node{scalar(value)}}
	n.Content = append(n.Content, scalar(key), list)
}

func scalar(s string) *yaml.Node {
	return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: s, Style: yaml.DoubleQuotedStyle}
}

func mapping(key, value string) *yaml.Node {
	return &yaml.Node{Kind: yaml.MappingNode, Content: []*yaml.Node{scalar(key), scalar(value)}}
}

// write writes n as JSON.
func write(out *bytes.Buffer, n *yaml.Node) {
	switch n.Kind {
	case yaml.MappingNode:
		out.WriteByte('{')
		for i := 0; i+1 < len(n.Content); i += 2 {
			if i > 0 {
				out.WriteByte(',')
			}
			write(out, n.Content[i])
			out.WriteByte(':')
			write(out, n.Content[i+1])
		}
		out.WriteByte('}')
	case yaml.SequenceNode:
		out.WriteByte('[')
		for i, c := range n.Content {
			if i > 0 {
				out.WriteByte(',')
			}
			write(out, c)
		}
		out.WriteByte(']')
	default:
		if n.Style != yaml.DoubleQuotedStyle && n.ShortTag() != "!!str" {
			out.WriteString(n.Value)
			return
		}
		encoder := json.NewEncoder(out)
		encoder.SetEscapeHTML(false)
		_ = encoder.Encode(n.Value) // a string always encodes
		out.Truncate(out.Len() - 1)
	}
}
