package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
)

// manualCommand prints the manual page, made from the commands themselves.
type manualCommand struct{}

func (*manualCommand) Help() string {
	return `To read it: bowroll man | man -l -
To keep it: bowroll man > /usr/local/share/man/man1/bowroll.1`
}

func (*manualCommand) Run(p *program, ctx *kong.Context) error {
	var m manual
	m.macro("TH", "BOWROLL", "1", "", "bowroll", "")
	m.macro("SH", "NAME")
	m.text("bowroll - plan booster-assisted launches off a short deck")
	m.macro("SH", "SYNOPSIS")
	m.text("bowroll [flags] <command> [arguments]")
	m.macro("SH", "DESCRIPTION")
	m.paragraphs(ctx.Model.Help)
	m.macro("SH", "FLAGS OF EVERY COMMAND")
	m.flags(ctx.Model.Flags)
	m.macro("SH", "COMMANDS")
	for _, node := range ctx.Model.Children {
		m.command(node, "bowroll")
	}
	m.macro("SH", "FILES WRITTEN")
	m.text("A file is written beside its place and then moved there, so that it is never half there. Nothing else on the machine is changed.")
	_, err := io.WriteString(p.stdout, m.String())
	return err
}

// A manual is a page being written in the man macros.
type manual struct{ strings.Builder }

// macro writes a request with its arguments, those with blanks in quotes.
func (m *manual) macro(name string, args ...string) {
	m.WriteString("." + name)
	for _, arg := range args {
		m.WriteString(` "` + strings.ReplaceAll(roff(arg), `"`, `\(dq`) + `"`)
	}
	m.WriteByte('\n')
}

// text writes lines of running text.
func (m *manual) text(text string) {
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		line = roff(strings.TrimSpace(line))
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			line = `\&` + line
		}
		m.WriteString(line + "\n")
	}
}

// paragraphs writes a help text: its indented parts are examples, set as they
// stand.
func (m *manual) paragraphs(text string) {
	for i, part := range strings.Split(strings.TrimRight(text, "\n"), "\n\n") {
		if i > 0 {
			m.macro("PP")
		}
		if strings.HasPrefix(part, "  ") {
			m.macro("EX")
			for _, line := range strings.Split(part, "\n") {
				m.WriteString(`\&` + roff(line) + "\n")
			}
			m.macro("EE")
			continue
		}
		m.text(part)
	}
}

// command writes a command and those below it.
func (m *manual) command(node *kong.Node, path string) {
	if node.Hidden {
		return
	}
	path += " " + node.Name
	usage := path
	for _, arg := range node.Positional {
		name := "<" + arg.Name + ">"
		if !arg.Required {
			name = "[" + name + "]"
		}
		usage += " " + name
	}
	m.macro("SS", usage)
	m.text(node.Help)
	if node.Detail != "" {
		m.macro("PP")
		m.paragraphs(node.Detail)
	}
	for _, arg := range node.Positional {
		m.macro("TP")
		m.text("<" + arg.Name + ">")
		m.text(arg.Help)
	}
	m.flags(node.Flags)
	for _, child := range node.Children {
		m.command(child, path)
	}
}

func (m *manual) flags(flags []*kong.Flag) {
	for _, f := range flags {
		if f.Hidden {
			continue
		}
		m.macro("TP")
		name := "--" + f.Name
		if !f.IsBool() {
			name += "=" + f.FormatPlaceHolder()
		}
		m.text(name)
		help := f.Help
		for _, env := range f.Envs {
			help += fmt.Sprintf(" Environment: %s.", env)
		}
		m.text(help)
	}
}

// roff escapes what the formatter would take for its own, and letters beyond
// ASCII.
func roff(text string) string {
	var b strings.Builder
	for _, r := range text {
		switch {
		case r == '\\':
			b.WriteString(`\(rs`)
		case r == '-':
			b.WriteString(`\-`)
		case r > 0x7e:
			fmt.Fprintf(&b, `\[u%04X]`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}
