package stockcsv_test

import (
	"encoding/csv"
	"errors"
	"strings"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/stockcsv"
	"bowroll/testdata/mutate"
)

// FuzzRead reads any text: no panic, every row fit to be taken, and every
// refusal one of bad input.
func FuzzRead(f *testing.F) {
	f.Add("unit,event,reason\nu-1,inspect,whole\n")
	f.Add("unit,event,reason,lot,place\nu-1,receive,note,lot-a,mag-1\n")
	f.Add("\ufeffunit,event,reason,at_launch_point\n\"u\n1\",arm,\"a \"\"b\"\"\",yes\n")
	f.Add("unit,event\nu,\"")
	f.Add("unit,event,reason\n\"0") // a quote that never ends
	f.Add(",,\n\x00\n")
	mutate.More(f)
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := stockcsv.Read(text)
		if err != nil {
			var one *store.Error
			if !errors.As(err, &one) || one.Class != store.Invalid || one.Text == "" || one.Field == "" {
				t.Errorf("%q: %v", text, err)
			}
			return
		}
		if len(rows) == 0 {
			t.Errorf("%q: no rows and no error", text)
		}
		for _, row := range rows {
			if row.Unit == "" || row.Reason == "" || row.Event == "" || (row.Event == store.Receive) != (row.Lot != "") || row.Line < 2 {
				t.Errorf("%q: %+v", text, row)
			}
		}
	})
}

// What is written can be read by anybody, whatever the text of a place is.
func TestWriteQuotes(t *testing.T) {
	text := stockcsv.Write([]store.Unit{{ID: "u-1", Place: "mag \"2\", port\nside", UsableUntil: time.Date(2031, 5, 4, 4, 0, 0, 0, time.UTC)}})
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(rows) != 2 || rows[1][3] != "mag \"2\", port\nside" || rows[1][4] != "2031-05-04T04:00:00Z" {
		t.Errorf("%v %v", rows, err)
	}
}
