package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// TestBashCompletes reads the printed script in a real bash and completes with
// it.
func TestBashCompletes(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("bash is not installed")
	}
	folder := t.TempDir()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// The test binary is the program when it goes by its name.
	if err := os.Symlink(self, filepath.Join(folder, "bowroll")); err != nil {
		t.Fatal(err)
	}
	script := `source <(bowroll completion bash)
COMP_WORDS=(bowroll plan dawn.yaml --paper "") COMP_CWORD=4
_bowroll
echo "${COMPREPLY[@]}"`
	command := exec.Command(bash, "-c", script)
	command.Env = append(os.Environ(), "PATH="+folder+":"+os.Getenv("PATH"))
	out, err := command.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if got := strings.TrimSpace(string(out)); got != "a4 letter" {
		t.Errorf("bash completed %q, want %q", got, "a4 letter")
	}
}

// TestManualPageFormats has the page set by man itself, which complains about
// what it does not understand.
func TestManualPageFormats(t *testing.T) {
	groff, err := exec.LookPath("groff")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("groff is not installed: apt-get install groff-base")
		}
		t.Skip("groff is not installed (package groff-base)")
	}
	var page, complaints bytes.Buffer
	p := &program{stdout: &page, stderr: &complaints, getenv: func(string) string { return "" }}
	if code := p.run(context.Background(), []string{"man"}); code != exitAnswered {
		t.Fatalf("exit code %d: %s", code, complaints.String())
	}
	command := exec.Command(groff, "-man", "-Tutf8", "-ww")
	command.Stdin = &page
	var text, warnings bytes.Buffer
	command.Stdout, command.Stderr = &text, &warnings
	if err := command.Run(); err != nil {
		t.Fatalf("%v\n%s", err, warnings.String())
	}
	if warnings.Len() > 0 {
		t.Errorf("groff complains:\n%s", warnings.String())
	}
}

func TestProgressLineHasTimeLeftAndFits(t *testing.T) {
	const most = 30 * time.Second
	for _, c := range []struct {
		part        float64
		spent, most time.Duration
		want        string
	}{
		{0, 4 * time.Second, most, "planning 200 sorties, 4 s of at most 30 s; Ctrl-C stops"},
		{0, 31 * time.Second, most, "planning 200 sorties, 31 s so far; Ctrl-C stops"},
		{0, 4 * time.Second, 0, "planning 200 sorties, 4 s so far; Ctrl-C stops"}, // several calls
		{0.25, 4 * time.Second, most, "[####............] planning 200 sorties, about 12 s left; Ctrl-C stops"},
		{0.25, 4 * time.Second, 10 * time.Second, "[####............] planning 200 sorties, about 6 s left; Ctrl-C stops"},
		{0.25, 40 * time.Second, 0, "[####............] planning 200 sorties, about 120 s left; Ctrl-C stops"},
		{1, 4 * time.Second, most, "[################] planning 200 sorties, about 0 s left; Ctrl-C stops"},
	} {
		if got := progressLine("planning 200 sorties", c.part, c.spent, c.most, 80); got != c.want {
			t.Errorf("part %g: %q, want %q", c.part, got, c.want)
		}
		for _, width := range []int{60, 80} {
			if got := progressLine(strings.Repeat("long ", 40), c.part, c.spent, c.most, width); len(got) > width-1 {
				t.Errorf("part %g: %d columns do not fit %d", c.part, len(got), width)
			}
		}
	}
}

func TestCompareSaysHowMuchItPlans(t *testing.T) {
	sweep, faults := speeds("8 kt to 22 kt by 2 kt")
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	three := []*bowrollv1.CycleVariant{{}, {}, {}}
	for want, r := range map[string]*bowrollv1.CyclesCompareRequest{
		"8 speeds":                {SpeedSweep: sweep},
		"3 variants":              {Variants: three},
		"3 variants and 8 speeds": {Variants: three, SpeedSweep: sweep},
	} {
		if got := compared(r); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
