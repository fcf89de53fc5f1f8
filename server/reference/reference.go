// Package reference serves the OpenAPI file of the contract and a page on which
// its calls can be tried. The page is whole in itself: it asks nothing of any
// other host, keeps nothing, and calls the service as any caller does, with the
// token that was typed in and no other right.
package reference

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/proto/openapi"
	"bowroll/server/examples"
)

//go:embed page.html page.css page.js
var files embed.FS

// policy lets the page load its own style and script and call its own service;
// nothing else, from nowhere else.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// New returns a handler of /reference/ and /openapi.json, with the calls of the
// services given.
func New(services []protoreflect.ServiceDescriptor) (http.Handler, error) {
	sections, err := sections(services)
	if err != nil {
		return nil, err
	}
	page, err := template.ParseFS(files, "page.html")
	if err != nil {
		return nil, err
	}
	var html bytes.Buffer
	if err := page.Execute(&html, sections); err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("GET /reference/{$}", text("text/html; charset=utf-8", html.Bytes()))
	mux.Handle("GET /reference", http.RedirectHandler("/reference/", http.StatusPermanentRedirect))
	mux.Handle("GET /openapi.json", text("application/json", openapi.JSON))
	for name, kind := range map[string]string{"page.css": "text/css; charset=utf-8", "page.js": "text/javascript; charset=utf-8"} {
		body, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		mux.Handle("GET /reference/"+name, text(kind, body))
	}
	return mux, nil
}

func text(kind string, body []byte) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		h := w.Header()
		h.Set("Content-Type", kind)
		h.Set("Content-Security-Policy", policy)
		h.Set("Referrer-Policy", "no-referrer")
		_, _ = w.Write(body) // a reader that left is no fault of ours
	})
}

// section is a service and its calls.
type section struct {
	Name, About string
	Calls       []call
}

// call is a method and a worked call of it.
type call struct {
	Method     string // "Takeoffs.Compute"
	Name       string // "Compute"
	Verb, Path string
	Body       string
	HasBody    bool
	About      string
	Parameters []parameter
}

// parameter is what goes into a call.
type parameter struct{ Name, About string }

// document is what the page shows of the OpenAPI file.
type document struct {
	Tags  []struct{ Name, Description string }
	Paths map[string]map[string]struct {
		OperationID          string
		Summary, Description string
		Parameters           []struct{ Name, In, Description string }
		RequestBody          struct {
			Content map[string]struct {
				Schema schema
			}
		}
	}
	Components struct{ Schemas map[string]schema }
}

type schema struct {
	Ref         string `json:"$ref"`
	Description string
	Properties  map[string]schema
}

// sections puts the file and the worked calls together.
func sections(services []protoreflect.ServiceDescriptor) ([]section, error) {
	var file document
	if err := json.Unmarshal(openapi.JSON, &file); err != nil {
		return nil, fmt.Errorf("the OpenAPI file: %w", err)
	}
	worked, err := examples.All()
	if err != nil {
		return nil, err
	}
	requests := map[string]map[string]any{}
	for _, example := range worked {
		if requests[example.Method] == nil {
			requests[example.Method] = example.Request
		}
	}
	var list []section
	for _, service := range services {
		s := section{Name: string(service.Name())}
		for _, tag := range file.Tags {
			if tag.Name == s.Name {
				s.About = tag.Description
			}
		}
		for i := range service.Methods().Len() {
			c, err := file.call(service.Methods().Get(i), requests)
			if err != nil {
				return nil, err
			}
			s.Calls = append(s.Calls, c)
		}
		list = append(list, s)
	}
	return list, nil
}

func (d document) call(method protoreflect.MethodDescriptor, requests map[string]map[string]any) (call, error) {
	c := call{Name: string(method.Name()), Method: string(method.Parent().Name()) + "." + string(method.Name())}
	request, shown := requests[c.Method]
	if !shown {
		request = map[string]any{"name": "…", "parent": "…"}
	}
	over, err := examples.Over(method, request)
	if err != nil {
		return call{}, err
	}
	c.Verb, c.Path, c.HasBody = over.Verb, over.Path, over.Body != ""
	if c.HasBody {
		var body bytes.Buffer
		if err := json.Indent(&body, []byte(over.Body), "", "  "); err != nil {
			return call{}, err
		}
		c.Body = body.String()
	}
	for _, operations := range d.Paths {
		for verb, o := range operations {
			if o.OperationID != strings.ReplaceAll(c.Method, ".", "_") || !strings.EqualFold(verb, c.Verb) {
				continue
			}
			c.About = strings.TrimSpace(o.Summary + " " + o.Description)
			for _, p := range o.Parameters {
				c.Parameters = append(c.Parameters, parameter{p.Name, p.Description})
			}
			name := strings.TrimPrefix(o.RequestBody.Content["application/json"].Schema.Ref, "#/components/schemas/")
			c.Parameters = append(c.Parameters, fields(method, d.Components.Schemas[name])...)
		}
	}
	return c, nil
}

// fields are the keys of a body in the order of the contract.
func fields(method protoreflect.MethodDescriptor, body schema) (list []parameter) {
	for i := range method.Input().Fields().Len() {
		name := string(method.Input().Fields().Get(i).Name())
		if property, ok := body.Properties[name]; ok {
			list = append(list, parameter{name, property.Description})
		}
	}
	return list
}
