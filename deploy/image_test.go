package deploy_test

import (
	"encoding/json"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestTheImageIsBuiltAsItSays builds the last stage of the Containerfile, with
// stand-ins for what the first makes, and looks at what the image holds. It needs
// buildah and root, and no network: the stage begins with nothing.
func TestTheImageIsBuiltAsItSays(t *testing.T) {
	buildah, err := exec.LookPath("buildah")
	if err != nil || os.Getuid() != 0 {
		t.Skip("no buildah, or not root; TestTheImageHoldsNothingElseAndRunsAsNobody reads the file as it is")
	}
	dir := t.TempDir()
	run := func(args ...string) []byte {
		t.Helper()
		store := []string{"--storage-driver", "vfs", "--root", filepath.Join(dir, "root"), "--runroot", filepath.Join(dir, "run")}
		command := exec.Command(buildah, append(store, args...)...)
		text, err := command.Output()
		if err != nil {
			t.Fatalf("buildah %v: %v: %s", args, err, text)
		}
		return text
	}
	text, err := os.ReadFile("Containerfile")
	if err != nil {
		t.Fatal(err)
	}
	_, last, found := strings.Cut(string(text), "\nFROM scratch\n")
	if !found {
		t.Fatal("the image is not built on scratch")
	}
	given := filepath.Join(dir, "given")
	for _, name := range []string{"etc/ssl/certs/ca-certificates.crt", "out/bowrolld", "out/state/.keep"} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(given, name)), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(given, name), nil, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	file := filepath.Join(dir, "Containerfile")
	if err := os.WriteFile(file, []byte("FROM scratch\n"+strings.ReplaceAll(last, "--from=build ", "")), 0o600); err != nil {
		t.Fatal(err)
	}
	run("build", "--isolation", "chroot", "-f", file, "-t", "tried", given)

	var image struct {
		OCIv1 struct {
			Config struct {
				User, StopSignal string
				Entrypoint       []string
				Volumes          map[string]struct{}
			} `json:"config"`
		}
	}
	if err := json.Unmarshal(run("inspect", "--type", "image", "tried"), &image); err != nil {
		t.Fatal(err)
	}
	config := image.OCIv1.Config
	_, keeps := config.Volumes["/var/lib/bowroll"]
	if config.User != "65532:65532" || config.StopSignal != "SIGTERM" || !slices.Equal(config.Entrypoint, []string{"/bowrolld"}) || !keeps {
		t.Errorf("%+v", config)
	}
	container := strings.TrimSpace(string(run("from", "tried")))
	root := strings.TrimSpace(string(run("mount", container)))
	defer run("umount", container)
	var files []string
	err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			files = append(files, strings.TrimPrefix(path, root))
		}
		return err
	})
	want := []string{"/bowrolld", "/etc/ssl/certs/ca-certificates.crt", "/var/lib/bowroll/.keep"}
	if err != nil || !slices.Equal(files, want) {
		t.Errorf("the image holds %q, want %q: %v", files, want, err)
	}
}
