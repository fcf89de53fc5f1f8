package board

import (
	"fmt"
	"html/template"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// functions are what templates call.
func functions() template.FuncMap {
	return template.FuncMap{
		"kind": kind, "svg": paper.SVG, "ornone": orNone, "badge": badge, "word": word, "short": short,
		"cell":    func(row []string, i int) string { return append(row, make([]string, i+1)...)[i] },
		"instant": instant, "clock": func(at time.Time) string { return at.UTC().Format("15:04:05Z") },
		"lead":   func(i int, t paper.Table) bool { return i == leadColumn(t) },
		"acting": acting, "add": func(a, b int) int { return a + b },
		"list": func(s []string) string { return strings.Join(s, ", ") },
		"digest": func(text string) string {
			if len(text) > 24 {
				return text[:24] + "…"
			}
			return text
		},
		"cautioned": func(c *bowrollv1.Caution) paper.Lines { return cautionLines([]*bowrollv1.Caution{c}) },
	}
}

// kind names a block for the template.
func kind(b paper.Block) string {
	switch b.(type) {
	case paper.Fields:
		return "fields"
	case paper.Figures:
		return "figures"
	case paper.Table:
		return "table"
	case paper.Lines:
		return "lines"
	case paper.Drawing:
		return "drawing"
	}
	return "plain"
}

// leadColumn is the column that names a row: the first that holds no numbers.
func leadColumn(t paper.Table) int {
	for i, c := range t.Columns {
		if !c.Right && !strings.HasPrefix(c.Head, "UTC") {
			return i
		}
	}
	return 0
}

// badge is the class of a word that is framed, or nothing.
func badge(c paper.Column, text string) string {
	fill, ok := c.Badges[text]
	switch {
	case !ok:
		return ""
	case fill == paper.Black:
		return "filled"
	}
	return "framed"
}

func orNone(text string) string {
	if strings.TrimSpace(text) == "" {
		return figure.None
	}
	return text
}

// instant draws an instant to the minute, in UTC.
func instant(at *timestamppb.Timestamp) string {
	if at == nil {
		return figure.None
	}
	return at.AsTime().UTC().Format("2 Jan 2006 15:04Z")
}

// word is the value of an enumeration in words.
func word(value protoreflect.Enum) string {
	enum := value.Descriptor()
	known := enum.Values().ByNumber(value.Number())
	if known == nil || value.Number() == 0 {
		return "unknown"
	}
	prefix := strings.TrimSuffix(string(enum.Values().Get(0).Name()), "UNSPECIFIED")
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(known.Name()), prefix), "_", " "))
}

// short is the last part of a resource name.
func short(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// cautionLines are cautions as labelled sentences.
func cautionLines(list []*bowrollv1.Caution) paper.Lines {
	var lines paper.Lines
	for _, c := range list {
		label, strong := "note", false
		switch c.GetSeverity() {
		case bowrollv1.Severity_SEVERITY_WARNING:
			label, strong = "WARNING", true
		case bowrollv1.Severity_SEVERITY_CAUTION:
			label, strong = "CAUTION", true
		}
		lines = append(lines, paper.Line{Label: label, Text: c.GetText(), Strong: strong})
	}
	return lines
}

// plural counts a thing: 1 unit, 2 units.
func plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// acting parts what a template gives to name who does what: the act and, where it
// is known, the name.
func acting(text string) struct{ What, Name string } {
	what, name, _ := strings.Cut(text, " ")
	return struct{ What, Name string }{what, strings.TrimSpace(name)}
}
