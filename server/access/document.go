package access

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Document is the table as a page for people, in Markdown.
func Document() string {
	var b strings.Builder
	b.WriteString(`# Who may do what

Written by ` + "`bowrolld access`" + ` from the table that calls are checked against. What is not listed is denied.

A grant is a role at a site, ` + "`planner@varrow`" + `, or at every site, ` + "`reader@*`" + `. Every role includes reader.
"Anywhere" asks for the role at any one site, "at the site" at the one that the request's name or parent names, "at every site" for a grant with ` + "`*`" + `.

| what | role | where |
|---|---|---|
`)
	table := Table()
	for _, method := range slices.Sorted(maps.Keys(table)) {
		need := table[method]
		name := strings.TrimPrefix(strings.ReplaceAll(strings.TrimPrefix(method, "/"), "/", "."), "bowroll.v1.")
		if need.Open {
			fmt.Fprintf(&b, "| %s | none | no identity needed |\n", name)
			continue
		}
		fmt.Fprintf(&b, "| %s | %s | %s |\n", name, need.Role, need.Scope)
	}
	return b.String()
}

// String says where, as people read it.
func (s Scope) String() string {
	switch s {
	case AtSite:
		return "at the site"
	case Fleet:
		return "at every site"
	default:
		return "anywhere"
	}
}
