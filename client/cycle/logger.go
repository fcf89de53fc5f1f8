package cycle

import (
	"strconv"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// loggerColumns are the columns of a logger's file, and what each takes.
var loggerColumns = map[string]string{
	"time":                  "an instant with its offset, e.g. 2041-03-06T04:00:00Z",
	"temperature":           "a temperature with its unit, e.g. 64 degF",
	"temperature_c":         "degrees Celsius",
	"temperature_f":         "degrees Fahrenheit",
	"relative_humidity":     "0 to 1",
	"relative_humidity_pct": "0 to 100",
	"place":                 "text",
	"source":                "text",
}

// ReadLogger reads a logger's CSV file: a line of column names, then one line a
// reading. Times carry their offset and temperatures their unit, in the name of
// the column or beside the number. Place and source are those of lines that name
// none. An error is [Faults], all of them at once.
func ReadLogger(file string, source []byte, place, from string) ([]*bowrollv1.Reading, error) {
	names, rows, faults := readTable(file, source)
	fault := func(at Place, column, value, problem, allowed string) {
		faults = append(faults, Fault{Place: at, Path: column, Value: value, Problem: problem, Allowed: allowed})
	}
	if names == nil {
		return nil, faults
	}
	has, first := map[string]bool{}, Place{File: file, Line: 1, Column: 1}
	for _, name := range names {
		if loggerColumns[name.text] == "" {
			fault(name.place, name.text, "", "is no column of a logger's file", "time, temperature_c, temperature_f, temperature, relative_humidity, relative_humidity_pct, place, source")
		}
		has[name.text] = true
	}
	if !has["time"] || !has["temperature"] && !has["temperature_c"] && !has["temperature_f"] {
		fault(first, "", "", "lacks a column", "time, and temperature_c, temperature_f or temperature")
	}
	var list []*bowrollv1.Reading
	for _, row := range rows {
		reading := &bowrollv1.Reading{Place: place, Source: from}
		for i, cell := range row {
			if column := names[i].text; !readLogged(reading, column, cell.text) {
				fault(cell.place, column, cell.text, "cannot be read", loggerColumns[column])
			}
		}
		list = append(list, reading)
	}
	if len(faults) > 0 {
		return nil, faults.sorted()
	}
	if len(list) == 0 {
		fault(Place{File: file, Line: 2, Column: 1}, "", "", "holds no readings", "one line a reading")
		return nil, faults
	}
	return list, nil
}

// readLogged reads one field into a reading, and reports whether it could. Only a
// place, a source and a humidity may be empty.
func readLogged(reading *bowrollv1.Reading, column, text string) bool {
	number := func(least, most float64) (float64, bool) {
		v, err := strconv.ParseFloat(text, 64)
		return v, err == nil && v >= least && v <= most
	}
	switch column {
	case "time":
		at, err := time.Parse(time.RFC3339, text)
		reading.Time = timestamppb.New(at)
		return err == nil
	case "temperature":
		celsius, err := quantity.Parse(quantity.Temperature, text)
		reading.TemperatureC = proto.Float64(celsius)
		return err == nil
	case "temperature_c":
		celsius, ok := number(-80, 120)
		reading.TemperatureC = proto.Float64(celsius)
		return ok
	case "temperature_f":
		fahrenheit, ok := number(-112, 248)
		reading.TemperatureC = proto.Float64((fahrenheit - 32) / 1.8)
		return ok
	case "relative_humidity", "relative_humidity_pct":
		if text == "" {
			return true
		}
		most := 1.0
		if column == "relative_humidity_pct" {
			most = 100
		}
		v, ok := number(0, most)
		reading.RelativeHumidity = proto.Float64(v / most)
		return ok
	case "place":
		if text != "" {
			reading.Place = text
		}
	case "source":
		if text != "" {
			reading.Source = text
		}
	}
	return true
}
