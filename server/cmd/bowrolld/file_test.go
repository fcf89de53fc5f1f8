package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"bowroll/testdata/mutate"
)

// FuzzFileLoader feeds what stands in a file of settings to the reader and to kong
// behind it. A file is refused with a line that names it, or what it says is what
// the flags get.
func FuzzFileLoader(f *testing.F) {
	laughs := "a0: &a0 [x, x]\n"
	for i := range 30 {
		laughs += fmt.Sprintf("a%d: &a%d [*a%d, *a%d]\n", i+1, i+1, i, i)
	}
	for _, seed := range []string{
		"grpc: 127.0.0.1:1\norigin: [https://a.example, \"https://b,c.example\"]\nreflection: false\ngrace: 3s\nrate: 1.5\n",
		"origin: &a [*a]\n", "a: &a [*a]\n", "&a a: *a\n", "&a {grpc: *a}\n", "*a\n",
		laughs, laughs + "origin: *a30\n",
		strings.Repeat("[", 11000), strings.Repeat("{a: ", 400), strings.Repeat("- ", 900), strings.Repeat("origin: ", 90), "origin: " + strings.Repeat("[", 200) + strings.Repeat("]", 200),
		"grace: !!binary aGk=\ncores: 0x10\nboard: yes\nrate: .nan\nburst: 1e9\ncalls: 99999999999999999999\n",
		"grace: {a: b}\ncores: [1, 2]\nboard:\nlog-level: [debug, info]\norigin: [[a], {b: c}, null]\n",
		"grcp: x\nhttp_address: y\n\"\": z\n? [a]\n: b\n<<: {grpc: x}\n",
		"grace: 1s\ngrace: 2s\n\"grace\": 3s\n",
		"grace: 1s\n---\ngrace: 2s\n", "---\n...\n", "", "# nothing\n", "\xff", "\x00", "grpc: \"\\0\\uD800\"\n", "%YAML 9.9\n---\na: b\n", "config: other.yaml\nhelp: true\n",
	} {
		f.Add([]byte(seed))
	}
	none := func(string) (string, bool) { return "", false }
	var known commands
	flags := settable(kong.Must(&known).Model)
	load := fileLoader(none, func() []*kong.Flag { return flags })
	mutate.More(f)
	f.Fuzz(func(t *testing.T, source []byte) {
		resolver, err := load(strings.NewReader(string(source)))
		if err != nil {
			if !strings.Contains(err.Error(), "the file of settings") {
				t.Errorf("refused without saying where: %v", err)
			}
			return
		}
		values := resolver.(*file).values
		if len(values) == 0 {
			return
		}
		for name, text := range values {
			if len(text.(string)) > 2*len(source) { // commas of a list's items are escaped
				t.Errorf("%s grew from %d bytes to %d", name, len(source), len(text.(string)))
			}
		}
		// Nothing is left for kong to refuse but what the settings themselves rule.
		var into commands
		_, err = kong.Must(&into, kong.Resolvers(resolver), kong.Exit(func(code int) { t.Errorf("exit %d", code) })).Parse([]string{"config", "check"})
		if err != nil && !strings.Contains(err.Error(), "--") {
			t.Errorf("%q: %v", source, err)
		}
	})
}
