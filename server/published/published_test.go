package published

import (
	"encoding/csv"
	"io/fs"
	"math"
	"strconv"
	"strings"
	"testing"

	"bowroll/perf/air"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/testdata"
	"bowroll/testdata/mutate"
)

func open(t *testing.T, name string) fs.File {
	t.Helper()
	f, err := testdata.Files.Open("published/" + name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// Every published value that may decide holds. The source of each stands in the
// file beside it.
func TestPublishedValuesHold(t *testing.T) {
	checks, err := Checks(open(t, "checks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	counts := map[bowrollv1.Verdict]int{}
	for _, c := range checks {
		counts[c.GetVerdict()]++
		switch c.GetVerdict() {
		case bowrollv1.Verdict_VERDICT_FAILS:
			t.Errorf("%s (%s; %s): expected %v %s, computed %.9g, off by %.3g, allowed %.3g",
				c.GetId(), c.GetTitle(), c.GetSource(), c.GetExpected(), c.GetUnit(), c.GetComputed(), c.GetDeviation(), c.GetTolerance())
		case bowrollv1.Verdict_VERDICT_SHOWN:
			t.Logf("shown: %s (%s; %s): %v %s, computed %.9g", c.GetId(), c.GetTitle(), c.GetSource(), c.GetExpected(), c.GetUnit(), c.GetComputed())
		}
	}
	t.Log(counts)
	if counts[bowrollv1.Verdict_VERDICT_HOLDS] < 150 {
		t.Errorf("only %d values hold", counts[bowrollv1.Verdict_VERDICT_HOLDS])
	}
}

func TestValuesFromMemoryDecideNothing(t *testing.T) {
	rows, err := Read(open(t, "checks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	memory := 0
	for _, row := range rows {
		if row.Obtained != fromMemory {
			continue
		}
		memory++
		c, err := row.Check()
		if err != nil {
			t.Fatal(err)
		}
		if c.GetVerdict() != bowrollv1.Verdict_VERDICT_SHOWN || !strings.HasPrefix(c.GetSource(), "from memory") {
			t.Errorf("%s: %v, source %q", row.ID, c.GetVerdict(), c.GetSource())
		}
	}
	if memory == 0 {
		t.Error("no row from memory: is the file the right one?")
	}
}

// A row that is off is seen to be off.
func TestAWrongValueFails(t *testing.T) {
	rows, err := Read(open(t, "checks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		if row.Tolerance == nil {
			continue
		}
		row.Expected += 3 * *row.Tolerance
		c, err := row.Check()
		if err != nil {
			t.Fatal(err)
		}
		if c.GetVerdict() != bowrollv1.Verdict_VERDICT_FAILS {
			t.Errorf("%s holds three tolerances away from its value", row.ID)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	const header = "id,title,method,inputs,expected,unit,tolerance,obtained,source\n"
	for name, file := range map[string]string{
		"no columns":          "",
		"other columns":       "id,title\n",
		"an empty field":      header + "a,,run,x = 1,1,m,0.1,read,s\n",
		"no number":           header + "a,t,run,x = 1,one,m,0.1,read,s\n",
		"an infinite one":     header + "a,t,run,x = 1,Inf,m,0.1,read,s\n",
		"a tolerance of zero": header + "a,t,run,x = 1,1,m,0,read,s\n",
		"memory deciding":     header + "a,t,run,x = 1,1,m,0.1,memory,s\n",
		"another origin":      header + "a,t,run,x = 1,1,m,0.1,heard,s\n",
		"an id twice":         header + "a,t,run,x = 1,1,m,0.1,read,s\na,t,run,x = 1,1,m,0.1,read,s\n",
		"an unknown method":   header + "a,t,walk,x = 1,1,m,0.1,read,s\n",
		"an unused input":     header + "a,t,ground-effect,height = 1 m; span = 10 m; x = 1,1,1,0.1,read,s\n",
		"a missing input":     header + "a,t,ground-effect,height = 1 m,1,1,0.1,read,s\n",
		"a bare number":       header + "a,t,ground-effect,height = 1; span = 10 m,1,1,0.1,read,s\n",
		"the wrong unit":      header + "a,t,ground-effect,height = 1 m; span = 10 m,1,m,0.1,read,s\n",
		"an input twice":      header + "a,t,ground-effect,height = 1 m; height = 1 m,1,1,0.1,read,s\n",
	} {
		if checks, err := Checks(strings.NewReader(file)); err == nil {
			t.Errorf("%s was read: %v", name, checks)
		}
	}
}

// The standard atmosphere, row by row, to 1e-5 (ICAO Doc 7488; US Standard
// Atmosphere 1976; computed from their defining constants).
func TestStandardAtmosphereTable(t *testing.T) {
	reader := csv.NewReader(open(t, "atmosphere.csv"))
	records, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range records[0] {
		column[name] = i
	}
	for _, record := range records[1:] {
		get := func(name string) float64 {
			f, err := strconv.ParseFloat(record[column[name]], 64)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			return f
		}
		h := get("H_m")
		for name, pair := range map[string][2]float64{
			"temperature": {air.StandardTemperatureK(h), get("T_K")},
			"pressure":    {air.StandardPressurePa(h), get("P_Pa")},
			"density":     {air.StandardDensityKgM3(h), get("rho_kg_m3")},
			"altitude":    {1e5 + air.PressureAltitudeM(get("P_Pa")), 1e5 + h},
		} {
			if math.Abs(pair[0]/pair[1]-1) > 1e-5 {
				t.Errorf("%s at %v m: %v, want %v", name, h, pair[0], pair[1])
			}
		}
	}
}

func FuzzRead(f *testing.F) {
	data, err := testdata.Files.ReadFile("published/checks.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(data))
	f.Add("id,title,method,inputs,expected,unit,tolerance,obtained,source\na,t,run,weight = 1 N,1,m,1 %,read,s\n")
	mutate.More(f)
	f.Fuzz(func(t *testing.T, file string) {
		rows, err := Read(strings.NewReader(file))
		if err != nil {
			return
		}
		for _, row := range rows {
			if c, err := row.Check(); err == nil && (math.IsNaN(c.GetComputed()) || math.IsInf(c.GetComputed(), 0)) {
				t.Fatalf("%s: computed %v", row.ID, c.GetComputed())
			}
		}
	})
}
