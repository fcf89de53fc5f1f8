package server

import (
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/server/nearest"
)

// route is one HTTP binding of the contract.
type route struct {
	verb     string // "GET"
	template string // "/v1/{name=sites/*}"
	// variables are the fields that the path binds.
	variables map[string]bool
	// parts are the segments of the template, variables as "*".
	parts []string
	// hasBody says that the whole request is the body.
	hasBody bool
	method  protoreflect.MethodDescriptor
}

// fullMethod is the method as gRPC names it.
func (r *route) fullMethod() string {
	return "/" + string(r.method.Parent().FullName()) + "/" + string(r.method.Name())
}

// routes are the HTTP bindings of the contract by verb and template, "GET /v1/sites".
type routes map[string]*route

// newRoutes reads the bindings from the services' options.
func newRoutes(services []protoreflect.ServiceDescriptor) routes {
	rs := routes{}
	for _, service := range services {
		for i := range service.Methods().Len() {
			method := service.Methods().Get(i)
			rule, _ := proto.GetExtension(method.Options(), annotations.E_Http).(*annotations.HttpRule)
			if rule == nil {
				continue
			}
			r := &route{method: method, hasBody: rule.GetBody() == "*"}
			switch p := rule.GetPattern().(type) {
			case *annotations.HttpRule_Get:
				r.verb, r.template = "GET", p.Get
			case *annotations.HttpRule_Post:
				r.verb, r.template = "POST", p.Post
			case *annotations.HttpRule_Put:
				r.verb, r.template = "PUT", p.Put
			case *annotations.HttpRule_Delete:
				r.verb, r.template = "DELETE", p.Delete
			}
			r.variables, r.parts = variablesOf(r.template), partsOf(r.template)
			rs[r.verb+" "+r.template] = r
		}
	}
	return rs
}

// variablesOf returns the fields in a template, "name" of "/v1/{name=sites/*}".
func variablesOf(template string) map[string]bool {
	found := map[string]bool{}
	for {
		_, rest, ok := strings.Cut(template, "{")
		if !ok {
			return found
		}
		inside, after, _ := strings.Cut(rest, "}")
		name, _, _ := strings.Cut(inside, "=")
		found[name] = true
		template = after
	}
}

// partsOf returns a template as path segments, variables as "*".
func partsOf(template string) []string {
	var b strings.Builder
	for {
		before, after, ok := strings.Cut(template, "{")
		b.WriteString(before)
		if !ok {
			return split(b.String())
		}
		inside, tail, _ := strings.Cut(after, "}")
		pattern := "*"
		if _, p, ok := strings.Cut(inside, "="); ok {
			pattern = p
		}
		b.WriteString(pattern)
		template = tail
	}
}

// split parts a path into its segments.
func split(path string) []string { return strings.Split(strings.TrimPrefix(path, "/"), "/") }

// at returns the bindings of a path.
func (rs routes) at(path string) []*route {
	var found []*route
	have := split(path)
	for _, r := range rs {
		if slices.EqualFunc(have, r.parts, standsFor) {
			found = append(found, r)
		}
	}
	return found
}

// standsFor says whether a segment of a path is one of a template: the same, or,
// for "*" and "*:confirm", any id with the same command after it.
func standsFor(have, want string) bool {
	command, open := strings.CutPrefix(want, "*")
	if !open {
		return have == want
	}
	id, ok := strings.CutSuffix(have, command)
	return ok && !strings.Contains(id, ":")
}

// fixed are the bindings of every path that holds no variable, which need not be
// looked for.
func (rs routes) fixed() map[string][]*route {
	found := map[string][]*route{}
	for _, r := range rs {
		if len(r.variables) == 0 {
			found[r.template] = rs.at(r.template)
		}
	}
	return found
}

// methodsOf lists the methods that a path takes, "GET, POST".
func (rs routes) methodsOf(path string) string {
	var verbs []string
	for _, r := range rs.at(path) {
		if !slices.Contains(verbs, r.verb) {
			verbs = append(verbs, r.verb)
		}
	}
	slices.Sort(verbs)
	return strings.Join(verbs, ", ")
}

// suggestPath says what an unknown path may have been meant to be.
func (rs routes) suggestPath(path string) string {
	var known []string
	for _, r := range rs {
		known = append(known, "/"+strings.Join(r.parts, "/"))
	}
	if near, ok := nearest.Of(path, known); ok {
		return "did you mean " + near + "?"
	}
	return ""
}
