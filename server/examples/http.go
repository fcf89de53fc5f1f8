package examples

import (
	"encoding/json"
	"fmt"
	"net/url"
	"regexp"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// HTTP is a call as the gateway takes it.
type HTTP struct {
	Verb string // "POST"
	Path string // "/v1/sites/varrow/lots?page_size=2"
	Body string // empty where the call has none
}

// pathVariable is a variable of a path, "{name=sites/*}".
var pathVariable = regexp.MustCompile(`\{([a-z_.]+)(?:=[^}]*)?\}`)

// Over returns a resolved request of a method as the gateway takes it.
func Over(method protoreflect.MethodDescriptor, request map[string]any) (HTTP, error) {
	rule, _ := proto.GetExtension(method.Options(), annotations.E_Http).(*annotations.HttpRule)
	var call HTTP
	switch p := rule.GetPattern().(type) {
	case *annotations.HttpRule_Get:
		call.Verb, call.Path = "GET", p.Get
	case *annotations.HttpRule_Post:
		call.Verb, call.Path = "POST", p.Post
	case *annotations.HttpRule_Put:
		call.Verb, call.Path = "PUT", p.Put
	default:
		return HTTP{}, fmt.Errorf("%s has no HTTP binding", method.FullName())
	}
	rest := make(map[string]any, len(request))
	for key, value := range request {
		rest[key] = value
	}
	call.Path = pathVariable.ReplaceAllStringFunc(call.Path, func(variable string) string {
		name := pathVariable.FindStringSubmatch(variable)[1]
		value := fmt.Sprint(rest[name])
		delete(rest, name)
		return value
	})
	if rule.GetBody() == "*" {
		body, err := json.Marshal(rest)
		call.Body = string(body)
		return call, err
	}
	query := url.Values{}
	for key, value := range rest {
		text, err := json.Marshal(value)
		if err != nil {
			return HTTP{}, err
		}
		query.Set(key, strings.Trim(string(text), `"`))
	}
	if len(query) > 0 {
		call.Path += "?" + query.Encode()
	}
	return call, nil
}
