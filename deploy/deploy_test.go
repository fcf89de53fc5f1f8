// Package deploy_test holds what this folder says against itself and against
// the program that it deploys.
package deploy_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// node is a part of a YAML or JSON document.
type node = map[string]any

// documents reads every document of a YAML file; keys given twice are errors.
func documents(t *testing.T, path string) []node {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var all []node
	for decoder := yaml.NewDecoder(bytes.NewReader(text)); ; {
		var d node
		err := decoder.Decode(&d)
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		all = append(all, d)
	}
}

// at follows keys and indices into a document; nil where there is nothing.
func at(v any, way ...any) any {
	for _, step := range way {
		switch s := step.(type) {
		case string:
			m, _ := v.(node)
			v = m[s]
		case int:
			l, _ := v.([]any)
			if s >= len(l) {
				return nil
			}
			v = l[s]
		}
	}
	return v
}

func TestEveryFileParses(t *testing.T) {
	count := 0
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		switch filepath.Ext(path) {
		case ".yaml":
			count++
			if len(documents(t, path)) == 0 {
				t.Errorf("%s is empty", path)
			}
		case ".json":
			count++
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if !json.Valid(text) {
				t.Errorf("%s is not JSON", path)
			}
		}
		return nil
	})
	if err != nil || count < 15 {
		t.Errorf("%d files, %v", count, err)
	}
}

func TestTheImageHoldsNothingElseAndRunsAsNobody(t *testing.T) {
	text, err := os.ReadFile("Containerfile")
	if err != nil {
		t.Fatal(err)
	}
	_, final, found := strings.Cut(string(text), "\nFROM scratch\n")
	if !found {
		t.Fatal("the image is not built on scratch")
	}
	for _, line := range []string{"USER 65532:65532\n", `ENTRYPOINT ["/bowrolld"]`, "STOPSIGNAL SIGTERM\n"} {
		if !strings.Contains(final, line) {
			t.Errorf("the image lacks %q", line)
		}
	}
	if strings.Contains(final, "RUN ") {
		t.Error("the image runs something that scratch does not have")
	}
	module, err := os.ReadFile("../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(module), "\ngo 1.26") || !strings.Contains(string(text), "FROM golang:1.26 ") {
		t.Error("go.mod and Containerfile name different versions of Go")
	}
}

func TestTheUnitIsHardened(t *testing.T) {
	text, err := os.ReadFile("systemd/bowrolld.service")
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{
		"DynamicUser=yes", "NoNewPrivileges=yes", "ProtectSystem=strict", "ProtectHome=yes", "PrivateDevices=yes",
		"CapabilityBoundingSet=", "MemoryDenyWriteExecute=yes", "SystemCallFilter=@system-service", "UMask=0077",
		"RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX", "LoadCredential=tls.key:/etc/bowroll/tls.key",
	} {
		if !strings.Contains(string(text), "\n"+line+"\n") {
			t.Errorf("the unit lacks %s", line)
		}
	}
}

// TestTheUnitIsExposedLittle asks systemd, where it is there, how much of the
// system the unit leaves open: 10 is all of it.
func TestTheUnitIsExposedLittle(t *testing.T) {
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("no systemd-analyze to ask; TestTheUnitIsHardened reads the unit as it is")
	}
	text, err := exec.Command(analyze, "security", "--offline=true", "--no-pager", "systemd/bowrolld.service").CombinedOutput()
	found := regexp.MustCompile(`exposure level for bowrolld\.service: ([0-9.]+)`).FindSubmatch(text)
	if found == nil {
		t.Skipf("this systemd-analyze does not say: %v", err)
	}
	level, err := strconv.ParseFloat(string(found[1]), 64)
	if err != nil || level > 1.2 {
		t.Errorf("exposed to %s, want at most 1.2: %v", found[1], err)
	}
}
