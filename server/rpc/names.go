package rpc

import (
	"fmt"
	"strconv"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/nearest"
	"bowroll/server/refusal"
)

// mostNames is how many valid names an error lists.
const mostNames = 20

// oneOf lists what is valid, the first of it where that is much.
func oneOf(names []string) string {
	switch {
	case len(names) == 0:
		return "nothing: none is known"
	case len(names) > mostNames:
		return fmt.Sprintf("one of %s and %d more", strings.Join(names[:mostNames], ", "), len(names)-mostNames)
	}
	return "one of " + strings.Join(names, ", ")
}

// unknown is the fault of a name that is none of those known. It says which was
// probably meant, else where they are.
func unknown(field, name string, known []string, where string) *bowrollv1.Violation {
	if near, ok := nearest.Of(name, known); ok {
		where = "did you mean " + near + "?"
	}
	return &bowrollv1.Violation{Field: field, Value: strconv.Quote(name), Rule: "known", Allowed: oneOf(known), Hint: where}
}

// unknownName refuses a request for something that is not in the catalog.
func unknownName(field, name string, valid []string) error {
	allowed := oneOf(valid)
	if near, ok := nearest.Of(name, valid); ok {
		allowed += "; the nearest is " + near
	}
	return refusal.NotFound(field, name, allowed)
}
