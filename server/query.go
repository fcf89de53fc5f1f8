package server

import (
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/nearest"
	"bowroll/server/refusal"
)

// strictAddress refuses what a path or a query must not hold: names that are not
// text, which no message can carry, and query parameters that the call does not
// take, before the library drops them in silence.
func (g *gateway) strictAddress(next runtime.HandlerFunc) runtime.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request, pathParams map[string]string) {
		if err := refusal.Invalid(pathFaults(pathParams)); err != nil {
			refuse(w, http.StatusBadRequest, err)
			return
		}
		if pattern, ok := runtime.HTTPPattern(r.Context()); ok && r.URL.RawQuery != "" {
			if route := g.routes[r.Method+" "+pattern.String()]; route != nil {
				if faults := route.queryFaults(r); len(faults) > 0 {
					refuse(w, http.StatusBadRequest, refusal.Invalid(append(faults, g.otherFaults(route, pathParams, r, faults)...)))
					return
				}
			}
		}
		next(w, r, pathParams)
	}
}

// otherFaults are those of the request that its path and the rest of its query
// make, so that the caller learns of all at once.
func (g *gateway) otherFaults(rt *route, pathParams map[string]string, r *http.Request, faults []*bowrollv1.Violation) []*bowrollv1.Violation {
	made, err := protoregistry.GlobalTypes.FindMessageByName(rt.method.Input().FullName())
	if g.screen == nil || rt.hasBody || err != nil {
		return nil
	}
	m := made.New().Interface()
	for field, value := range pathParams {
		err = errors.Join(err, runtime.PopulateFieldFromPath(m, field, value))
	}
	values := r.URL.Query()
	for _, fault := range faults {
		delete(values, fault.GetField())
	}
	err = errors.Join(err, runtime.PopulateQueryParameters(m, values, utilities.NewDoubleArray(nil)))
	if err != nil {
		return nil // it is refused for what is known to be wrong with it
	}
	others, err := g.screen.Request(m)
	if err != nil {
		return nil
	}
	return slices.DeleteFunc(others, func(other *bowrollv1.Violation) bool {
		return slices.ContainsFunc(faults, func(f *bowrollv1.Violation) bool { return f.GetField() == other.GetField() })
	})
}

// pathFaults returns every fault of what a path binds, in the order of the fields.
func pathFaults(params map[string]string) []*bowrollv1.Violation {
	var faults []*bowrollv1.Violation
	for _, field := range slices.Sorted(maps.Keys(params)) {
		if !utf8.ValidString(params[field]) {
			faults = append(faults, notText(field, params[field]))
		}
	}
	return faults
}

func notText(field, value string) *bowrollv1.Violation {
	return &bowrollv1.Violation{Field: field, Value: shorten(value), Rule: "format", Allowed: "text in UTF-8"}
}

// queryFaults returns every fault of a request's query, in the order of the keys.
func (rt *route) queryFaults(r *http.Request) []*bowrollv1.Violation {
	values, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return []*bowrollv1.Violation{{Field: "query", Value: shorten(r.URL.RawQuery), Rule: "format", Allowed: "key=value pairs joined by &"}}
	}
	fields := rt.queryFields()
	var faults []*bowrollv1.Violation
	for _, key := range slices.Sorted(maps.Keys(values)) {
		fd := fields[key]
		switch sent := values[key]; {
		case fd == nil:
			faults = append(faults, rt.unknownParameter(key, sent[0], fields))
		case len(sent) > 1 && !fd.IsList():
			faults = append(faults, &bowrollv1.Violation{Field: key, Value: shorten(sent[1]), Rule: "once", Allowed: "given once", Hint: "it stands twice"})
		default:
			for _, text := range sent {
				if fault := parameterFault(key, text, fd); fault != nil {
					faults = append(faults, fault)
				}
			}
		}
	}
	return faults
}

// queryFields are the fields that a query may set: those of simple values that
// neither path nor body binds.
func (rt *route) queryFields() map[string]protoreflect.FieldDescriptor {
	found := map[string]protoreflect.FieldDescriptor{}
	if rt.hasBody {
		return found
	}
	fields := rt.method.Input().Fields()
	for i := range fields.Len() {
		if fd := fields.Get(i); fd.Message() == nil && !rt.variables[string(fd.Name())] {
			found[string(fd.Name())] = fd
		}
	}
	return found
}

func (rt *route) unknownParameter(key, value string, fields map[string]protoreflect.FieldDescriptor) *bowrollv1.Violation {
	known := slices.Sorted(maps.Keys(fields))
	fault := &bowrollv1.Violation{Field: shorten(key), Value: shorten(value), Rule: "known"}
	switch {
	case rt.hasBody:
		fault.Hint = "this call takes no query; send the request in the body"
	case len(known) == 0:
		fault.Hint = "this call takes no query"
	default:
		fault.Allowed = "one of " + strings.Join(known, ", ")
	}
	if near, ok := nearest.Of(key, known); ok {
		fault.Hint = "did you mean " + near + "?"
	}
	return fault
}

func parameterFault(key, text string, fd protoreflect.FieldDescriptor) *bowrollv1.Violation {
	var err error
	allowed := ""
	switch fd.Kind() {
	case protoreflect.StringKind:
		if !utf8.ValidString(text) {
			return notText(key, text)
		}
	case protoreflect.Int32Kind:
		_, err = strconv.ParseInt(text, 10, 32)
		allowed = "a whole number"
	case protoreflect.BoolKind:
		if text != "true" && text != "false" {
			err = strconv.ErrSyntax
		}
		allowed = "true or false"
	case protoreflect.EnumKind:
		if fd.Enum().Values().ByName(protoreflect.Name(text)) == nil {
			err = strconv.ErrSyntax
		}
		allowed = "a name of " + string(fd.Enum().Name())
	}
	if err == nil {
		return nil
	}
	return &bowrollv1.Violation{Field: key, Value: shorten(text), Rule: "type", Allowed: allowed}
}
