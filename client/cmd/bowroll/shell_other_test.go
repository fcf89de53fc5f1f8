package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Zsh and fish read the printed script and complete with it, where they are
// installed. Zsh has no way to complete without a terminal: what it would offer
// is printed in place of being offered.
func TestZshAndFishComplete(t *testing.T) {
	scripts := map[string]string{
		"zsh": `compdef() { : }
source <(bowroll completion zsh)
compadd() { print -l -- ${(P)2} }
words=(bowroll plan dawn.yaml --paper "") CURRENT=5
_bowroll`,
		"fish": `bowroll completion fish | source; complete -C "bowroll plan dawn.yaml --paper "`,
	}
	for shell, script := range scripts {
		t.Run(shell, func(t *testing.T) {
			path, err := exec.LookPath(shell)
			if err != nil {
				if os.Getenv("CI") != "" {
					t.Fatalf("%s is not installed: apt-get install %s", shell, shell)
				}
				t.Skip(shell + " is not installed")
			}
			folder := t.TempDir()
			self, err := os.Executable()
			if err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(self, filepath.Join(folder, "bowroll")); err != nil {
				t.Fatal(err)
			}
			command := exec.Command(path, "-c", script)
			command.Env = append(os.Environ(), "HOME="+folder, "PATH="+folder+":"+os.Getenv("PATH"))
			command.Dir = t.TempDir() // no file of its own to offer
			out, err := command.CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			if got := strings.Fields(string(out)); strings.Join(got, " ") != "a4 letter" {
				t.Errorf("%s completed %q, want a4 and letter", shell, out)
			}
		})
	}
}
