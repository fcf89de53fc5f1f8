// Package papertest holds what the tests of printed sheets share: an answer of
// the service to print, golden files, and PDF files read back.
package papertest

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A Dawn is the dawn cycle as the service answered it, with what the cards of
// two of its launches need.
type Dawn struct {
	Cycle    *bowrollv1.Cycle
	Plan     *bowrollv1.CyclePlan
	Deck     *bowrollv1.Deck
	Launches map[string]Launch
}

// A Launch is one launch of it, computed for its card.
type Launch struct {
	Planned  *bowrollv1.PlannedLaunch
	Takeoff  *bowrollv1.Takeoff
	Aircraft *bowrollv1.AircraftType
	Boosters map[string]*bowrollv1.BoosterType
}

// Load reads the answer; every call gives messages of its own. folder is the
// testdata folder that holds it.
func Load(t testing.TB, folder string) Dawn {
	t.Helper()
	source, err := os.ReadFile(filepath.Join(folder, "paper.json"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cycle, Plan, Deck json.RawMessage
		Launches          map[string]struct {
			Takeoff, Aircraft json.RawMessage
			Boosters          map[string]json.RawMessage
		}
	}
	if err := json.Unmarshal(source, &file); err != nil {
		t.Fatal(err)
	}
	d := Dawn{Cycle: read(t, file.Cycle, &bowrollv1.Cycle{}), Plan: read(t, file.Plan, &bowrollv1.CyclePlan{}),
		Deck: read(t, file.Deck, &bowrollv1.Deck{}), Launches: map[string]Launch{}}
	for id, l := range file.Launches {
		launch := Launch{Takeoff: read(t, l.Takeoff, &bowrollv1.Takeoff{}), Aircraft: read(t, l.Aircraft, &bowrollv1.AircraftType{}),
			Boosters: map[string]*bowrollv1.BoosterType{}}
		for lot, b := range l.Boosters {
			launch.Boosters[lot] = read(t, b, &bowrollv1.BoosterType{})
		}
		for _, p := range d.Plan.GetLaunches() {
			if p.GetSortie() == id {
				launch.Planned = p
			}
		}
		d.Launches[id] = launch
	}
	return d
}

func read[T proto.Message](t testing.TB, source json.RawMessage, into T) T {
	t.Helper()
	if err := protojson.Unmarshal(source, into); err != nil {
		t.Fatal(err)
	}
	return into
}

// Golden holds a text against the one that was looked at and found good.
// UPDATE_GOLDEN=1 writes it anew; look at it before committing.
func Golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if os.Getenv("UPDATE_GOLDEN") != "" {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(got, want) {
		return
	}
	gotLines, wantLines := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
	for i := range max(len(gotLines), len(wantLines)) {
		if line(gotLines, i) != line(wantLines, i) {
			t.Fatalf("%s, line %d:\n got %q\nwant %q\nUPDATE_GOLDEN=1 writes it anew", path, i+1, line(gotLines, i), line(wantLines, i))
		}
	}
}

func line(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return "(no such line)"
}

// Tool returns where a program from the package poppler-utils is. Without it the
// test is skipped, but fails in CI, where it must run.
func Tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is not installed: apt-get install poppler-utils", name)
	}
	t.Skipf("%s is not installed (package poppler-utils)", name)
	return ""
}

// PDFText returns the text of each sheet of a PDF file, laid out as printed.
func PDFText(t *testing.T, pdf []byte) []string {
	t.Helper()
	command := exec.Command(Tool(t, "pdftotext"), "-layout", "-", "-")
	command.Stdin = bytes.NewReader(pdf)
	var out, complaints bytes.Buffer
	command.Stdout, command.Stderr = &out, &complaints
	if err := command.Run(); err != nil {
		t.Fatalf("pdftotext: %v\n%s", err, complaints.String())
	}
	if complaints.Len() > 0 {
		t.Errorf("pdftotext complains: %s", complaints.String())
	}
	return strings.Split(strings.TrimSuffix(out.String(), "\f"), "\f")
}

// CheckPicture renders every sheet of a PDF file and checks what a look at it
// would: that it is not blank, and that nothing runs into the outer 8 mm, where
// printers do not print.
func CheckPicture(t *testing.T, pdf []byte) {
	t.Helper()
	tool, folder := Tool(t, "pdftoppm"), t.TempDir()
	command := exec.Command(tool, "-r", "50", "-gray", "-", filepath.Join(folder, "sheet"))
	command.Stdin = bytes.NewReader(pdf)
	if out, err := command.CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v\n%s", err, out)
	}
	sheets, err := filepath.Glob(filepath.Join(folder, "*.pgm"))
	if err != nil || len(sheets) == 0 {
		t.Fatalf("pdftoppm made no pictures (%v)", err)
	}
	for i, name := range sheets {
		picture, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		width, height, pixels := graymap(t, picture)
		edge, inked := 8*50/25, 0 // 8 mm at 50 dots an inch, rounded down
		for y := range height {
			for x := range width {
				if pixels[y*width+x] > 128 {
					continue
				}
				inked++
				if x < edge || y < edge || x >= width-edge || y >= height-edge {
					t.Fatalf("sheet %d has ink %d dots right and %d down, inside the outer 8 mm", i+1, x, y)
				}
			}
		}
		if part := float64(inked) / float64(width*height); part < 0.005 || part > 0.4 {
			t.Errorf("sheet %d is %.1f %% ink", i+1, 100*part)
		}
	}
}

// graymap reads a picture in the binary form of PGM.
func graymap(t *testing.T, picture []byte) (width, height int, pixels []byte) {
	t.Helper()
	fields, at := [4]string{}, 0
	for i := range fields {
		for at < len(picture) && strings.ContainsRune(" \n\t", rune(picture[at])) {
			at++
		}
		from := at
		for at < len(picture) && !strings.ContainsRune(" \n\t", rune(picture[at])) {
			at++
		}
		fields[i] = string(picture[from:at])
	}
	for _, f := range []struct {
		text string
		into *int
	}{{fields[1], &width}, {fields[2], &height}} {
		for _, digit := range f.text {
			*f.into = *f.into*10 + int(digit-'0')
		}
	}
	pixels = picture[min(at+1, len(picture)):]
	if fields[0] != "P5" || len(pixels) != width*height {
		t.Fatalf("not a picture: %v with %d pixels", fields, len(pixels))
	}
	return width, height, pixels
}
