package cycle

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// An ObservedRun is a run as it was written, and where.
type ObservedRun struct {
	Run   *bowrollv1.ObservedRun
	Index *Index // from fields of the run
}

// ReadRuns reads a file of observed runs, a list observed_runs. The error is a
// [Faults].
func ReadRuns(name string, source []byte) ([]ObservedRun, error) {
	document, err := Parse(name, source)
	if err != nil {
		return nil, err
	}
	list := &bowrollv1.ListObservedRunsResponse{}
	index, faults := document.decode(list)
	var runs []ObservedRun
	for i, run := range list.GetObservedRuns() {
		runs = append(runs, ObservedRun{run, index.within(fmt.Sprintf("observed_runs[%d]", i))})
	}
	return told(name, runs, append(faults, unnamed(runs)...))
}

// ReadRunKeys reads one observed run from its keys alone, nested ones with dots.
// A value is called in faults by the flag and its key. The error is a [Faults].
func ReadRunKeys(name, flag string, values map[string]string) (ObservedRun, error) {
	document := New(name)
	for _, path := range slices.Sorted(maps.Keys(values)) {
		document.Set(path, values[path], flag+" "+path)
	}
	run := &bowrollv1.ObservedRun{}
	index, faults := document.decode(run)
	runs := []ObservedRun{{run, index}}
	runs, err := told(name, runs, append(faults, unnamed(runs)...))
	if err != nil {
		return ObservedRun{}, err
	}
	return runs[0], nil
}

// ReadRunsCSV reads a CSV file of observed runs: a column for each key, those of
// nested keys with dots, e.g. conditions.gross_mass, and a row for each run. An
// empty cell is a value that is not given. The error is a [Faults], of all rows.
func ReadRunsCSV(name string, source []byte) ([]ObservedRun, error) {
	names, rows, faults := readTable(name, source)
	columns := readRunColumns(name, names)
	var runs []ObservedRun
	for _, row := range rows {
		document := New(name)
		document.root.Line, document.root.Column = row[0].place.Line, row[0].place.Column
		for i, cell := range row {
			if cell.text != "" && columns.paths[i] != "" {
				node := &yaml.Node{Kind: yaml.ScalarNode, Tag: columns.tags[i], Value: cell.text, Line: cell.place.Line, Column: cell.place.Column}
				document.put(columns.paths[i], "", node)
			}
		}
		run := &bowrollv1.ObservedRun{}
		index, more := document.decode(run)
		faults, runs = append(faults, more...), append(runs, ObservedRun{run, index})
	}
	return told(name, runs, columns.once(slices.Concat(columns.faults, faults, unnamed(runs))))
}

// unnamed faults runs without a name of their own.
func unnamed(runs []ObservedRun) (faults Faults) {
	first := map[string]Place{}
	for _, one := range runs {
		at, path := one.Index.Find("name")
		// The last part of a full name is the name within its site.
		id := one.Run.GetName()[strings.LastIndexByte(one.Run.GetName(), '/')+1:]
		switch before, twice := first[id]; {
		case !one.Index.has("name"):
			faults = append(faults, Fault{Place: at, Path: path, Problem: missing, Hint: "give each run a name of its own, e.g. name: noon-1"})
		case id == "": // its fault is told already
		case twice:
			faults = append(faults, Fault{Place: at, Path: path, Value: one.Run.GetName(), Problem: "is the name of two runs", Hint: "first at " + before.String()})
		default:
			first[id] = at
		}
	}
	return faults
}

// told are the runs, or all that is wrong with what was written.
func told(file string, runs []ObservedRun, faults Faults) ([]ObservedRun, error) {
	if len(runs) == 0 && len(faults) == 0 {
		faults = Faults{{Place: Place{File: file}, Problem: "holds no run", Hint: "give a list observed_runs, or in a CSV file a row for each run"}}
	}
	if len(faults) > 0 {
		return nil, faults.sorted()
	}
	return runs, nil
}
