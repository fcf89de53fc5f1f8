package catalog

import (
	"errors"
	"io/fs"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/testdata"
	"bowroll/testdata/mutate"
)

func validator(t testing.TB) protovalidate.Validator {
	t.Helper()
	v, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func published(t testing.TB) fs.FS {
	t.Helper()
	sub, err := fs.Sub(testdata.Files, "catalog")
	if err != nil {
		t.Fatal(err)
	}
	return sub
}

func TestLoadReadsTheCatalogInTheProgram(t *testing.T) {
	s, err := Load(published(t), validator(t))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := s.AircraftTypeNames(), []string{"aircraftTypes/corvane", "aircraftTypes/halbrook", "aircraftTypes/ostrel", "aircraftTypes/wendrake"}; !slices.Equal(got, want) {
		t.Errorf("aircraft types %v, want %v", got, want)
	}
	if got, want := s.BoosterTypeNames(), []string{"boosterTypes/emberlin-6", "boosterTypes/gaunt-12"}; !slices.Equal(got, want) {
		t.Errorf("booster types %v, want %v", got, want)
	}
	if got, want := s.SiteNames(), []string{"sites/skarn-field", "sites/varrow"}; !slices.Equal(got, want) {
		t.Errorf("sites %v, want %v", got, want)
	}
	deck, ok := s.Deck("sites/varrow/decks/main")
	if !ok {
		t.Fatal("no deck sites/varrow/decks/main")
	}
	if len(deck.GetSpots()) != 8 || deck.GetSpots()[0].GetAvailableM() != 62 {
		t.Errorf("spots %v", deck.GetSpots())
	}
	if deck.TailwindLimitMps == nil {
		t.Error("a limit of 0 was read as absent")
	}
	if got := s.Decks("sites/skarn-field"); len(got) != 1 || got[0].GetPolicy().GetLegs() != bowrollv1.Legs_LEGS_EITHER {
		t.Errorf("decks of the strip: %v", got)
	}
	if _, ok := s.AircraftType("aircraftTypes/none"); ok {
		t.Error("found a type that is not there")
	}
}

// The faults of testdata/faulty, all at once, as a person reads them. Set
// BOWROLL_UPDATE=1 to write the file anew, then read what changed.
func TestLoadListsEveryFaultOfEveryFile(t *testing.T) {
	s, err := Load(os.DirFS("testdata/faulty"), validator(t))
	if s != nil || err == nil {
		t.Fatal("a faulty catalog was read")
	}
	var faults Faults
	if !errors.As(err, &faults) {
		t.Fatalf("%T: %v", err, err)
	}
	got := err.Error() + "\n"
	const golden = "testdata/faults.golden"
	if os.Getenv("BOWROLL_UPDATE") != "" {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("faults differ from %s:\n%s", golden, lineDifference(string(want), got))
	}
	for _, f := range faults {
		if f.Violation.GetRule() == "" {
			t.Errorf("no rule named in %v", f)
		}
	}
}

// lineDifference is the lines that one of two texts has alone.
func lineDifference(want, got string) string {
	var b strings.Builder
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	for _, line := range w {
		if !slices.Contains(g, line) {
			b.WriteString("- " + line + "\n")
		}
	}
	for _, line := range g {
		if !slices.Contains(w, line) {
			b.WriteString("+ " + line + "\n")
		}
	}
	return b.String()
}

func TestRevisionDependsOnContentAlone(t *testing.T) {
	const one = "sites:\n  - name: sites/a\n    least_speed_mps: 1\n    greatest_speed_mps: 10\n  - name: sites/b\n"
	const other = "# the same\nsites: [{name: sites/b}]\n"
	const rest = "sites:\n- {greatest_speed_mps: 1e1, least_speed_mps: 1.0, name: \"sites/a\"}\n"
	v := validator(t)
	read := func(files fstest.MapFS) *Snapshot {
		t.Helper()
		s, err := Load(files, v)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	a := read(fstest.MapFS{"a.yaml": {Data: []byte(one)}})
	b := read(fstest.MapFS{"z/q.yml": {Data: []byte(other)}, "a.yaml": {Data: []byte(rest)}, "README.md": {Data: []byte("x")}, ".git/x.yaml": {Data: []byte("!")}})
	if a.Revision() != b.Revision() {
		t.Errorf("%s and %s for the same content", a.Revision(), b.Revision())
	}
	if len(a.Revision()) != len("sha256:0123456789abcdef") {
		t.Errorf("revision %q", a.Revision())
	}
	c := read(fstest.MapFS{"a.yaml": {Data: []byte(strings.Replace(one, "10", "10.000001", 1))}})
	if c.Revision() == a.Revision() {
		t.Error("other content, same revision")
	}
}

func TestLoadRefusesAFolderThatIsNoCatalog(t *testing.T) {
	v := validator(t)
	if _, err := Load(fstest.MapFS{"README.md": {}}, v); err == nil || !strings.Contains(err.Error(), "no .yaml file") {
		t.Errorf("an empty folder: %v", err)
	}
	many := fstest.MapFS{}
	for i := range maxFiles + 1 {
		many[strings.Repeat("a", i+1)+".yaml"] = &fstest.MapFile{Data: []byte("sites: []")}
	}
	if _, err := Load(many, v); err == nil || !strings.Contains(err.Error(), "more than 1000 files") {
		t.Errorf("too many files: %v", err)
	}
	big := fstest.MapFS{"big.yaml": {Data: make([]byte, maxFileBytes+1)}}
	if _, err := Load(big, v); err == nil || !strings.Contains(err.Error(), "at most 1048576") {
		t.Errorf("too big a file: %v", err)
	}
}

// Whatever a file holds, reading it ends in a catalog or in faults that say
// where they are.
func FuzzLoad(f *testing.F) {
	for _, folder := range []fs.FS{published(f), os.DirFS("testdata/faulty")} {
		err := fs.WalkDir(folder, ".", func(name string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() {
				return err
			}
			data, err := fs.ReadFile(folder, name)
			f.Add(data)
			return err
		})
		if err != nil {
			f.Fatal(err)
		}
	}
	f.Add([]byte("decks:\n  - \"na\\nme\": x\n"))
	v := validator(f)
	mutate.More(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		files := fstest.MapFS{"a.yaml": {Data: data}}
		s, err := Load(files, v)
		again, errAgain := Load(files, v)
		if err != nil {
			var faults Faults
			if !errors.As(err, &faults) || len(faults) == 0 {
				t.Fatalf("%T: %v", err, err)
			}
			for _, fault := range faults {
				if fault.Line < 1 || fault.Column < 1 || strings.ContainsAny(fault.Error(), "\n\r") {
					t.Fatalf("fault %q", fault.Error())
				}
			}
			if errAgain == nil || errAgain.Error() != err.Error() {
				t.Fatal("read twice, with different faults")
			}
			return
		}
		if s.Revision() != again.Revision() {
			t.Fatal("read twice, with different revisions")
		}
		for _, a := range s.AircraftTypes() {
			if err := v.Validate(a); err != nil {
				t.Fatal(err)
			}
			if twin, ok := again.AircraftType(a.GetName()); !ok || !proto.Equal(a, twin) {
				t.Fatal("read twice, with different content")
			}
		}
	})
}
