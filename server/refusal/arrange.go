package refusal

import (
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// MaxFaults is the most faults that one refusal lists.
const MaxFaults = 100

// arrange joins what was misread with what the rules found: a rule has nothing
// to say of a value that could not be read, nor of the message around one. The
// faults come in the order of the fields, so that the same request is always
// refused in the same words.
func arrange(prefix string, of protoreflect.MessageDescriptor, misread, byRule []*bowrollv1.Violation) []*bowrollv1.Violation {
	faults := misread
	for _, f := range byRule {
		if !slices.ContainsFunc(misread, func(m *bowrollv1.Violation) bool { return hides(m.GetField(), f) }) {
			faults = append(faults, f)
		}
	}
	if len(faults) < 2 {
		return faults
	}
	keys := make(map[*bowrollv1.Violation][]int, len(faults))
	for _, f := range faults {
		keys[f] = order(of, strings.TrimPrefix(strings.TrimPrefix(f.GetField(), prefix), "."))
	}
	slices.SortStableFunc(faults, func(a, b *bowrollv1.Violation) int { return slices.Compare(keys[a], keys[b]) })
	if len(faults) > MaxFaults {
		faults = faults[:MaxFaults]
	}
	return faults
}

// hides says whether a fault of reading at misread makes a rule's fault
// worthless: it is about the same value, one inside it, or several values of
// which this is one.
func hides(misread string, f *bowrollv1.Violation) bool {
	path := f.GetField()
	if path == misread || strings.HasPrefix(path, misread) && strings.ContainsAny(path[len(misread):][:1], ".[") {
		return true
	}
	holder, name := "", misread
	if dot := strings.LastIndexByte(misread, '.'); dot >= 0 {
		holder, name = misread[:dot], misread[dot+1:]
	}
	return path == holder && strings.Contains(f.GetHint(), name)
}

// order turns a path into the numbers of its fields and the indexes of its
// elements; what the contract does not know comes last.
func order(of protoreflect.MessageDescriptor, path string) []int {
	const last = 1 << 30
	var key []int
	for path != "" {
		end := strings.IndexAny(path, ".[")
		if end == 0 && path[0] == '[' {
			inside, rest, _ := strings.Cut(path[1:], "]")
			index, err := strconv.Atoi(inside)
			if err != nil {
				index = last
			}
			key = append(key, index)
			path = strings.TrimPrefix(rest, ".")
			continue
		}
		if end < 0 {
			end = len(path)
		}
		number := last
		if of != nil {
			fd := of.Fields().ByName(protoreflect.Name(path[:end]))
			of = nil
			if fd != nil {
				number, of = int(fd.Number()), fd.Message()
			}
		}
		key = append(key, number)
		path = strings.TrimPrefix(path[end:], ".")
	}
	return key
}
