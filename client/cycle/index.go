package cycle

import "strings"

// An Index leads from a field of a message, as the service names it, back to
// where it was written.
type Index struct {
	entries map[string]entry
	root    string // field of the message read that fields are named from
}

type entry struct {
	place   Place
	path    string
	written string // text of the value; empty where it holds keys or a list
}

func newIndex() *Index { return &Index{entries: map[string]entry{}} }

// within is the index of a part of the message, whose fields are named from it.
func (x *Index) within(field string) *Index { return &Index{x.entries, join(x.root, field)} }

// has reports whether a field was written, well or badly.
func (x *Index) has(field string) bool {
	_, ok := x.entries[join(x.root, field)]
	return ok
}

func (x *Index) add(field, path, written string, place Place) {
	x.entries[field] = entry{place, path, written}
}

// Written returns the text that a field of the message was written as, or
// nothing where it was not written as one value.
func (x *Index) Written(field string) string { return x.entries[join(x.root, field)].written }

// Find returns the place and the path of keys of a field of the message, e.g.
// sorties[2].gross_mass_kg. A field that was not written is found at the
// nearest thing around it that was, with the rest of the name kept as it came.
func (x *Index) Find(field string) (Place, string) {
	rest := ""
	for at := field; ; {
		if e, ok := x.entries[join(x.root, at)]; ok {
			return e.place, join(e.path, strings.TrimPrefix(rest, "."))
		}
		cut := strings.LastIndexAny(at, ".[")
		if cut < 0 {
			break
		}
		at, rest = at[:cut], field[cut:]
	}
	return x.entries[x.root].place, join(x.entries[x.root].path, field)
}

// join adds a key or a place in a list to a path.
func join(path, key string) string {
	switch {
	case path == "" || key == "":
		return path + key
	case strings.HasPrefix(key, "["):
		return path + key
	}
	return path + "." + key
}
