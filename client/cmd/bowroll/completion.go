package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// completionCommand prints what makes a shell complete this program's words.
// The shell asks the program itself, so that the script never ages.
type completionCommand struct {
	Shell string `arg:"" help:"${enum}." enum:"bash,zsh,fish"`
}

func (*completionCommand) Help() string {
	return `Put it where your shell looks, or read it in its start-up file:

  bash:  source <(bowroll completion bash)
  zsh:   source <(bowroll completion zsh)
  fish:  bowroll completion fish | source`
}

var completionScripts = map[string]string{
	"bash": `_bowroll() {
	local IFS=$'\n'
	COMPREPLY=($(bowroll complete -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null))
}
complete -o default -F _bowroll bowroll
`,
	"zsh": `#compdef bowroll
_bowroll() {
	local -a found
	found=("${(@f)$(bowroll complete -- "${(@)words[2,CURRENT]}" 2>/dev/null)}")
	if [[ -n "${found[1]}" ]]; then compadd -a found; else _files; fi
}
compdef _bowroll bowroll
`,
	"fish": `complete -c bowroll -a '(bowroll complete -- (commandline -opc)[2..-1] (commandline -ct) 2>/dev/null)'
`,
}

func (c *completionCommand) Run(p *program) error {
	_, err := io.WriteString(p.stdout, completionScripts[c.Shell])
	return err
}

// completeCommand prints what could stand for the last of the words, one a line;
// nothing where that is a file or free text.
type completeCommand struct {
	Words []string `arg:"" optional:"" passthrough:""`
}

func (c *completeCommand) Run(p *program, ctx *kong.Context) error {
	words := c.Words
	if len(words) > 0 && words[0] == "--" {
		words = words[1:]
	}
	for _, candidate := range candidates(ctx.Model.Node, words) {
		if _, err := fmt.Fprintln(p.stdout, candidate); err != nil {
			return err
		}
	}
	return nil
}

// candidates returns what could stand for the last word of a command line.
func candidates(node *kong.Node, words []string) []string {
	if len(words) == 0 {
		words = []string{""}
	}
	before, last := words[:len(words)-1], words[len(words)-1]
	flags, given := slices.Clone(node.Flags), 0
	var awaited *kong.Flag // the flag whose value comes next
	for _, word := range before {
		switch {
		case awaited != nil:
			awaited = nil
		case strings.HasPrefix(word, "--"):
			name, _, valued := strings.Cut(word[2:], "=")
			if f := flagNamed(flags, name); f != nil && !valued && !f.IsBool() {
				awaited = f
			}
		default:
			if child := childNamed(node, word); child != nil {
				node, flags, given = child, append(flags, child.Flags...), 0
			} else {
				given++
			}
		}
	}
	var all []string
	switch name, _, valued := strings.Cut(strings.TrimPrefix(last, "--"), "="); {
	case awaited != nil:
		all = enum(awaited.Value, "")
	case strings.HasPrefix(last, "--") && valued:
		if f := flagNamed(flags, name); f != nil {
			all = enum(f.Value, "--"+name+"=")
		}
	case strings.HasPrefix(last, "-"):
		for _, f := range flags {
			if !f.Hidden {
				all = append(all, "--"+f.Name)
			}
		}
	default:
		for _, child := range node.Children {
			if !child.Hidden {
				all = append(all, child.Name)
			}
		}
		if node.DefaultCmd != nil && len(node.Positional) == 0 {
			node = node.DefaultCmd
		}
		if given < len(node.Positional) {
			all = append(all, enum(node.Positional[given], "")...)
		}
	}
	return slices.DeleteFunc(all, func(c string) bool { return !strings.HasPrefix(c, last) })
}

// enum returns the values that a flag or argument is limited to.
func enum(v *kong.Value, prefix string) []string {
	if v.Enum == "" {
		return nil
	}
	var list []string
	for _, value := range v.EnumSlice() {
		list = append(list, prefix+value)
	}
	return list
}

func flagNamed(flags []*kong.Flag, name string) *kong.Flag {
	for _, f := range flags {
		if f.Name == name {
			return f
		}
	}
	return nil
}

func childNamed(node *kong.Node, name string) *kong.Node {
	for _, child := range node.Children {
		if child.Name == name {
			return child
		}
	}
	return nil
}
