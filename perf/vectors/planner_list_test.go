package vectors_test

import (
	"encoding/json"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"
)

// Every planner case is held by some test that names it.
func TestEveryPlannerCaseIsHeld(t *testing.T) {
	data, err := os.ReadFile("../../testdata/vectors/planner_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct{ ID, Title string }
	}
	// Other keys of a case are of many kinds.
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) != 34 {
		t.Fatalf("%d planner cases, want 34", len(file.Cases))
	}
	held := map[string]bool{}
	word := regexp.MustCompile(`D[0-9]{2}`)
	for _, root := range []string{"perf", "server"} {
		err := fs.WalkDir(os.DirFS("../.."), root, func(path string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() || !strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, "planner_list_test.go") {
				return err
			}
			text, err := os.ReadFile("../../" + path)
			for _, id := range word.FindAllString(string(text), -1) {
				held[id] = true
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range file.Cases {
		if !held[c.ID] {
			t.Errorf("no test names planner case %s, %s", c.ID, c.Title)
		}
	}
}
