package cycle_test

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bowroll/client/cycle"
	"bowroll/testdata/mutate"
)

const (
	runsHead = "name,tail,conditions.aircraft_type,conditions.flap,conditions.gross_mass,conditions.air.pressure_altitude,conditions.air.temperature,conditions.deck,conditions.headwind,launch_time,liftoff_distance,observer\n"
	runsRow  = "a-1,017,corvane,takeoff,6086 kg,0 m,20.9 degC,sites/varrow/decks/main,10.42 m/s,2041-03-08T05:41:00Z,161.3 m,deck camera\n"
	runsYAML = `observed_runs:
  - name: a-1
    tail: "017"
    conditions: {aircraft_type: corvane, flap: takeoff, gross_mass: 6086 kg, air: {pressure_altitude: 0 m, temperature: 20.9 degC}, deck: sites/varrow/decks/main, headwind: 10.42 m/s}
    launch_time: 2041-03-08T05:41:00Z
    liftoff_distance: 161.3 m
    observer: deck camera
`
)

func TestReadRuns(t *testing.T) {
	rows, err := cycle.ReadRunsCSV("r.csv", []byte("\xef\xbb\xbf"+runsHead+runsRow+strings.Replace(runsRow, "a-1", "a-2", 1)))
	if err != nil || len(rows) != 2 {
		t.Fatal(rows, err)
	}
	list, err := cycle.ReadRuns("r.yaml", []byte(runsYAML))
	if err != nil || len(list) != 1 {
		t.Fatal(list, err)
	}
	keys, err := cycle.ReadRunKeys("command line", "--set", map[string]string{"name": "a-1", "tail": "c-1", "conditions.aircraft_type": "corvane",
		"conditions.flap": "takeoff", "conditions.gross_mass": "6086 kg", "conditions.air.pressure_altitude": "0 m", "conditions.air.temperature": "20.9 degC",
		"conditions.deck": "sites/varrow/decks/main", "conditions.headwind": "10.42 m/s", "launch_time": "2041-03-08T05:41:00Z", "liftoff_distance": "161.3 m", "observer": "deck camera"})
	if err != nil {
		t.Fatal(err)
	}
	if keys.Run.Tail = "017"; !proto.Equal(rows[0].Run, list[0].Run) || !proto.Equal(rows[0].Run, keys.Run) {
		t.Errorf("the same run is %v, %v and %v", rows[0].Run, list[0].Run, keys.Run)
	}
	// What the service refuses is found where it was written.
	for want, one := range map[string]cycle.ObservedRun{"r.csv:3:25": rows[1], "r.yaml:4:69": list[0], "--set conditions.gross_mass": keys} {
		if at, path := one.Index.Find("conditions.gross_mass_kg"); at.String() != want || !strings.HasSuffix(path, "conditions.gross_mass") || one.Index.Written("conditions.gross_mass_kg") != "6086 kg" {
			t.Errorf("found %s at %v, want %s", path, at, want)
		}
	}
}

func TestReadRunsNamesEveryFault(t *testing.T) {
	for _, tt := range []struct {
		name string
		read func() error
		want []string // what the faults begin with
	}{
		{"rows", func() error {
			_, err := cycle.ReadRunsCSV("r.csv", []byte(runsHead+
				strings.Replace(runsRow, "6086 kg", "6086", 1)+
				"x\"y,\n"+
				strings.Replace(strings.Replace(runsRow, "10.42 m/s", "ten", 1), "161.3 m", "161.3 kg", 1)+
				"too,short\n"+
				strings.Replace(runsRow, "a-1", "", 1)))
			return err
		}, []string{"r.csv:2:25: conditions.gross_mass", "r.csv:3:2: not readable as CSV", "r.csv:4:1: name \"a-1\": is the name of two runs",
			"r.csv:4:71: conditions.headwind", "r.csv:4:96: liftoff_distance", "r.csv:5:1: has 2 fields", "r.csv:6:1: name: is missing"}},
		{"columns", func() error {
			_, err := cycle.ReadRunsCSV("r.csv", []byte("nam,conditions,observer,observer,conditions.loads,tail.x,tail[0],\n"+strings.Repeat("a,b,c,d,e,f,g,h\n", 3)))
			return err
		}, []string{"r.csv:1:1: nam: is no key", "r.csv:1:1: launch_time: is missing; name a column launch_time", "r.csv:1:5: conditions: holds keys",
			"r.csv:1:25: observer: is written twice", "r.csv:1:34: conditions.loads", "r.csv:1:51: tail.x", "r.csv:1:58: tail[0]", "r.csv:1:66: "}},
		{"characters, not bytes", func() error {
			_, err := cycle.ReadRunsCSV("r.csv", []byte(strings.Replace(runsHead, "name,", "name,note,", 1)+strings.Replace(strings.Replace(runsRow, "a-1,", "a-1,ä€,", 1), "6086 kg", "6086", 1)))
			return err
		}, []string{"r.csv:2:28: conditions.gross_mass"}},
		{"nothing", func() error { _, err := cycle.ReadRunsCSV("r.csv", nil); return err }, []string{"r.csv:1:1: has no line of column names"}},
		{"no row", func() error { _, err := cycle.ReadRunsCSV("r.csv", []byte(runsHead)); return err }, []string{"r.csv: holds no run"}},
		{"a head that is broken", func() error { _, err := cycle.ReadRunsCSV("r.csv", []byte("x\"y,z\na,b\n")); return err }, []string{"r.csv:1:2: not readable as CSV"}},
		{"a list", func() error {
			bad := strings.Replace(runsYAML, "161.3 m", "161.3", 1)
			_, err := cycle.ReadRuns("r.yaml", []byte(bad+strings.Replace(strings.TrimPrefix(runsYAML, "observed_runs:\n"), "  - name: a-1\n   ", "  -", 1)))
			return err
		}, []string{"r.yaml:6:23: observed_runs[0].liftoff_distance", "r.yaml:8:5: observed_runs[1].name: is missing"}},
		{"an empty list", func() error { _, err := cycle.ReadRuns("r.yaml", []byte("observed_runs: []\n")); return err }, []string{"r.yaml: holds no run"}},
		{"keys", func() error {
			_, err := cycle.ReadRunKeys("command line", "--set", map[string]string{"conditions": "x", "conditions.flap": "takeoff", "tail.x": "y", "observer": "me"})
			return err
		}, []string{"command line: launch_time: is missing", "command line: name: is missing", "--set conditions: conditions", "--set conditions.flap: conditions holds no keys", "--set tail.x"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var faults cycle.Faults
			if err := tt.read(); !errors.As(err, &faults) {
				t.Fatal(err)
			}
			for i, fault := range faults {
				if i >= len(tt.want) || !strings.HasPrefix(fault.Error(), tt.want[i]) {
					t.Errorf("fault %d is %v", i, fault)
				}
			}
			if len(faults) != len(tt.want) {
				t.Errorf("%d faults, want %d", len(faults), len(tt.want))
			}
		})
	}
}

func FuzzReadRunsCSV(f *testing.F) {
	f.Add([]byte(runsHead + runsRow))
	f.Add([]byte("name,conditions.loads[0].x\nx\"y,18\n\"z"))
	f.Add([]byte("\xef\xbb\xbf<<,name.,.,[0],conditions[0].flap\n\xff,,,,\n"))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		runs, err := cycle.ReadRunsCSV("r.csv", data)
		if (err == nil) != (len(runs) > 0) {
			t.Errorf("%d runs and %v", len(runs), err)
		}
		for _, one := range runs {
			if at, _ := one.Index.Find("name"); one.Run.GetName() == "" || at.Line < 2 {
				t.Errorf("%v at %v", one.Run, at)
			}
		}
		var faults cycle.Faults
		if err != nil && (!errors.As(err, &faults) || len(faults) == 0) {
			t.Errorf("refused with %v", err)
		}
	})
}
