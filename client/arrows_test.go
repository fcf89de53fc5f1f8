package client_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// The client holds no physics and no service: it imports the contract and, for
// turning text into numbers, perf/quantity with the violations it refuses with.
// Only the command starts a service, in its own process.
func TestArrowsRunOneWay(t *testing.T) {
	err := filepath.WalkDir(".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, spec := range file.Imports {
			name, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			switch {
			case name == "bowroll/perf/quantity", name == "bowroll/perf/violation":
			case strings.HasPrefix(name, "bowroll/perf"):
				t.Errorf("%s imports %s: the client computes no physics", path, name)
			case strings.HasPrefix(name, "bowroll/server") && !strings.HasPrefix(path, filepath.Join("cmd", "bowroll")):
				t.Errorf("%s imports %s: only the command starts a service", path, name)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
