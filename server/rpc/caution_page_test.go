package rpc

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestEveryCautionIsExplained holds the page of cautions against those that the
// code raises.
func TestEveryCautionIsExplained(t *testing.T) {
	page, err := os.ReadFile("../../perf/LIMITS.md")
	if err != nil {
		t.Fatal(err)
	}
	raised := regexp.MustCompile(`(?:add\([\w.]+,\s*|caution\(|say\(|worded\{|Id:\s*)"([a-z]+(?:-[a-z]+)*)",\s*(?:"|\n|Severity|fmt|late|over|shut|[a-z"])`)
	sources, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, source := range sources {
		if strings.HasSuffix(source, "_test.go") {
			continue
		}
		text, err := os.ReadFile(source)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range raised.FindAllSubmatch(text, -1) {
			found[string(m[1])] = true
		}
	}
	if len(found) < 25 {
		t.Fatalf("only %d cautions were found in the code: %v", len(found), found)
	}
	for id := range found {
		if !strings.Contains(string(page), "| `"+id+"` |") {
			t.Errorf("the page does not explain %s", id)
		}
	}
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\|").FindAllSubmatch(page, -1) {
		if !found[string(m[1])] {
			t.Errorf("the page explains %s, which nothing raises", m[1])
		}
	}
}
