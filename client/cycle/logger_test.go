package cycle_test

import (
	"errors"
	"strings"
	"testing"

	"bowroll/client/cycle"
	"bowroll/testdata/mutate"
)

func TestReadLogger(t *testing.T) {
	list, err := cycle.ReadLogger("l.csv", []byte("time,temperature_f,relative_humidity_pct,place\n2041-03-06T04:00:00Z,50,40,\n2041-03-06T05:00:00+01:00,212,,mag-2\n"), "mag-1", "logger 3")
	if err != nil || len(list) != 2 {
		t.Fatal(list, err)
	}
	a, b := list[0], list[1]
	if a.GetTemperatureC() != 10 || a.GetRelativeHumidity() != 0.4 || a.GetPlace() != "mag-1" || a.GetSource() != "logger 3" {
		t.Error(a)
	}
	if b.GetTemperatureC() != 100 || b.RelativeHumidity != nil || b.GetPlace() != "mag-2" || !b.GetTime().AsTime().Equal(a.GetTime().AsTime()) {
		t.Error(b)
	}
}

func TestReadLoggerNamesEveryFault(t *testing.T) {
	_, err := cycle.ReadLogger("l.csv", []byte("time,temperature,relative_humidity\nnoon,18,0.4\n2041-03-06T04:00:00Z,18 degC,40\n2041-03-06T04:00:00Z,18 degC\n"), "", "")
	var faults cycle.Faults
	if !errors.As(err, &faults) || len(faults) != 4 {
		t.Fatalf("%v", err)
	}
	for i, want := range []string{"l.csv:2:1: time", "l.csv:2:6: temperature", "l.csv:3:30: relative_humidity", "l.csv:4:1: "} {
		if !strings.Contains(faults[i].Error(), want) {
			t.Errorf("%v does not begin with %s", faults[i], want)
		}
	}
	for _, text := range []string{"", "time\n", "time,temp\n", "time,temperature_c\n", "time,temperature_c\nx\"y,18\n", "time,temperature_c\n\"x"} {
		if _, err := cycle.ReadLogger("l.csv", []byte(text), "", ""); !errors.As(err, &faults) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func FuzzReadLogger(f *testing.F) {
	f.Add([]byte("time,temperature_c\n2041-03-06T04:00:00Z,18\n"))
	f.Add([]byte("time,temperature,place\n2041-03-06T04:00:00Z,64 degF,\"mag,1\"\n"))
	f.Add([]byte("time,temperature_c\nx\"y,18\n"))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		list, err := cycle.ReadLogger("l.csv", data, "", "")
		if (err == nil) != (len(list) > 0) {
			t.Errorf("%d readings and %v", len(list), err)
		}
		for _, one := range list {
			if one.TemperatureC == nil || one.GetTime() == nil {
				t.Error(one)
			}
		}
	})
}
