// Command reference writes the contract as a page for people: every call with its
// path, every message with its fields, units and rules, every enum. It reads a
// descriptor set with comments, as "buf build -o -" writes it, from standard input
// and writes Markdown to standard output.
package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
)

const pkg = "bowroll.v1"

func main() {
	if err := run(os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "reference:", err)
		os.Exit(1)
	}
}

func run(in io.Reader, out io.Writer) error {
	text, err := io.ReadAll(in)
	if err != nil {
		return err
	}
	set := &descriptorpb.FileDescriptorSet{}
	if err := proto.Unmarshal(text, set); err != nil {
		return err
	}
	files, err := protodesc.NewFiles(set)
	if err != nil {
		return err
	}
	p := &page{out: bufio.NewWriter(out)}
	files.RangeFilesByPackage(pkg, func(f protoreflect.FileDescriptor) bool {
		p.gather(f)
		return true
	})
	p.write()
	return p.out.Flush()
}

// named is a part of a path that fills in a field, e.g. {name=sites/*}.
var named = regexp.MustCompile(`\{\w+=([^}]*)\}`)

// page is the reference being written.
type page struct {
	out      *bufio.Writer
	services []protoreflect.ServiceDescriptor
	messages []protoreflect.MessageDescriptor
	enums    []protoreflect.EnumDescriptor
}

func (p *page) gather(f protoreflect.FileDescriptor) {
	for i := range f.Services().Len() {
		p.services = append(p.services, f.Services().Get(i))
	}
	for i := range f.Messages().Len() {
		p.messages = append(p.messages, f.Messages().Get(i))
	}
	for i := range f.Enums().Len() {
		p.enums = append(p.enums, f.Enums().Get(i))
	}
}

const head = `# The API, call by call

Generated from proto/bowroll/v1 by .ci/generate: change it there.

Over gRPC a call is named by its service; over JSON it has a path, and its keys are the field names below. Every number is SI with its unit in the name (temperatures in degrees Celsius). An optional field that is absent, null in JSON, has no value, which is never zero. A request with a fault answers INVALID_ARGUMENT with every fault at once; deploy/ACCESS.md says who may call what.
`

func (p *page) write() {
	byName(p.services)
	byName(p.messages)
	byName(p.enums)
	p.print(head)
	for _, s := range p.services {
		p.service(s)
	}
	p.print("\n## Messages\n")
	for _, m := range p.messages {
		p.message(m)
	}
	p.print("\n## Enums\n")
	for _, e := range p.enums {
		p.enum(e)
	}
}

func byName[D protoreflect.Descriptor](list []D) {
	slices.SortFunc(list, func(a, b D) int { return strings.Compare(string(a.Name()), string(b.Name())) })
}

func (p *page) print(format string, values ...any) { fmt.Fprintf(p.out, format, values...) }

func (p *page) service(s protoreflect.ServiceDescriptor) {
	p.print("\n## %s\n\n%s\n", s.Name(), comment(s))
	for i := range s.Methods().Len() {
		m := s.Methods().Get(i)
		p.print("\n### %s.%s\n\n", s.Name(), m.Name())
		if verb, path := route(m); verb != "" {
			p.print("`%s %s`: ", verb, named.ReplaceAllString(path, "$1"))
		}
		p.print("%s to %s\n\n%s\n", carries(m.Input(), m.IsStreamingClient()), carries(m.Output(), m.IsStreamingServer()), comment(m))
	}
}

func carries(m protoreflect.MessageDescriptor, stream bool) string {
	if stream {
		return "a stream of " + link(m)
	}
	return link(m)
}

// route is where a call is found over HTTP.
func route(m protoreflect.MethodDescriptor) (verb, path string) {
	rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	switch pattern := rule.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		return "GET", pattern.Get
	case *annotations.HttpRule_Post:
		return "POST", pattern.Post
	case *annotations.HttpRule_Put:
		return "PUT", pattern.Put
	}
	return "", ""
}

func (p *page) message(m protoreflect.MessageDescriptor) {
	p.print("\n### %s\n\n%s\n", m.Name(), comment(m))
	if m.Fields().Len() == 0 {
		return
	}
	p.print("\n| field | type | |\n|---|---|---|\n")
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		p.print("| `%s` | %s | %s |\n", f.Name(), kind(f), strings.ReplaceAll(comment(f), "|", "\\|"))
	}
}

// kind says what a field holds and whether it has to be given.
func kind(f protoreflect.FieldDescriptor) string {
	text := f.Kind().String()
	switch {
	case f.Message() != nil:
		text = link(f.Message())
	case f.Enum() != nil:
		text = link(f.Enum())
	}
	switch {
	case f.IsList():
		text = "list of " + text
	case f.HasOptionalKeyword():
		text = "optional " + text
	case f.ContainingOneof() != nil:
		text += ", one of `" + string(f.ContainingOneof().Name()) + "`"
	}
	behaviour, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	for _, b := range behaviour {
		switch b {
		case annotations.FieldBehavior_REQUIRED:
			text = strings.TrimPrefix(text, "optional ") + ", required"
		case annotations.FieldBehavior_OUTPUT_ONLY:
			text += ", set by the service"
		case annotations.FieldBehavior_IMMUTABLE:
			text += ", never changed"
		}
	}
	return text
}

func link(d protoreflect.Descriptor) string {
	name := string(d.Name())
	if d.ParentFile().Package() != pkg {
		return "`" + string(d.FullName()) + "`"
	}
	return "[" + name + "](#" + strings.ToLower(name) + ")"
}

func (p *page) enum(e protoreflect.EnumDescriptor) {
	p.print("\n### %s\n\n%s\n\n| value | |\n|---|---|\n", e.Name(), comment(e))
	for i := range e.Values().Len() {
		v := e.Values().Get(i)
		p.print("| `%s` | %s |\n", v.Name(), comment(v))
	}
}

// comment is what stands before a declaration, on one line.
func comment(d protoreflect.Descriptor) string {
	return strings.Join(strings.Fields(d.ParentFile().SourceLocations().ByDescriptor(d).LeadingComments), " ")
}
