package deploy_test

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestReliabilityNamesTestsThatExist holds the table against the tests.
func TestReliabilityNamesTestsThatExist(t *testing.T) {
	page, err := os.ReadFile("RELIABILITY.md")
	if err != nil {
		t.Fatal(err)
	}
	exist := map[string]bool{}
	declared := regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)\w+)\(`)
	err = filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, found := range declared.FindAllSubmatch(text, -1) {
			exist[string(found[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range regexp.MustCompile(`\b(?:Test|Fuzz)[A-Z]\w+`).FindAllString(string(page), -1) {
		if !exist[name] {
			t.Errorf("there is no %s", name)
		}
	}
	for row := 1; row <= 22; row++ {
		if !strings.Contains(string(page), fmt.Sprintf("\n| %d | ", row)) {
			t.Errorf("row %d is missing", row)
		}
	}
}

// TestLinksLead holds the links between the pages of this folder.
func TestLinksLead(t *testing.T) {
	pages, err := filepath.Glob("*.md")
	if err != nil || len(pages) < 3 {
		t.Fatal(pages, err)
	}
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, link := range regexp.MustCompile(`\]\(([^)#]+)\)`).FindAllStringSubmatch(string(text), -1) {
			if _, err := os.Stat(link[1]); err != nil {
				t.Errorf("%s: %v", page, err)
			}
		}
	}
}
