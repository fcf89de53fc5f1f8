// Package stockcsv reads the steps of a ledger from CSV, and writes units as CSV.
package stockcsv

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// Row is one line of a CSV file: a step, or the receipt of a unit into a lot.
type Row struct {
	// Line is where it stands in the file, from 1.
	Line int
	// Lot is the lot to receive into; empty otherwise.
	Lot string
	ledger.Step
}

// rowColumns are the columns of a file of steps; the first three are needed.
var rowColumns = []string{"unit", "event", "reason", "lot", "place", "authority", "igniter", "at_launch_point"}

// Read reads a file of steps: a line with the names of the columns (unit,
// event and reason; and as needed lot, place, authority, igniter,
// at_launch_point), then one line a step. Every fault is found, each with its
// line.
func Read(text string) ([]Row, error) {
	reader := csv.NewReader(strings.NewReader(strings.TrimPrefix(text, "\ufeff")))
	reader.FieldsPerRecord = -1
	header, err := reader.Read()
	if err != nil {
		return nil, store.Errorf(store.Invalid, "CSV_EMPTY", "the first line names the columns: %s", strings.Join(rowColumns, ", ")).At("csv")
	}
	place, faults := columnsOf(header)
	if len(faults) > 0 {
		return nil, faults
	}
	var rows []Row
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var broken *csv.ParseError
		if errors.As(err, &broken) {
			faults = append(faults, store.Errorf(store.Invalid, "CSV_UNREADABLE", "line %d cannot be read: %v", broken.Line, broken.Err).At(lineField(broken.Line)))
			break
		}
		if len(rows) == ledger.MostUnits {
			faults = append(faults, store.Errorf(store.Invalid, "CSV_TOO_LONG", "more than %d steps: send the rest as another file", ledger.MostUnits).At("csv"))
			break
		}
		line, _ := reader.FieldPos(0)
		row, fault := rowOf(line, record, place, len(header))
		faults = append(faults, fault...)
		rows = append(rows, row)
	}
	if len(faults) == 0 && len(rows) == 0 {
		faults = append(faults, store.Errorf(store.Invalid, "CSV_EMPTY", "there is no line after the names of the columns").At("csv"))
	}
	return rows, faults.Err()
}

func lineField(line int) string { return fmt.Sprintf("csv:%d", line) }

// columnsOf finds where each column stands.
func columnsOf(header []string) (place map[string]int, faults store.Errors) {
	place = map[string]int{}
	for i, name := range header {
		name = strings.TrimSpace(name)
		switch _, twice := place[name]; {
		case twice:
			faults = append(faults, store.Errorf(store.Invalid, "CSV_COLUMN", "column %q stands twice", name).At(lineField(1)))
		case !slices.Contains(rowColumns, name):
			faults = append(faults, store.Errorf(store.Invalid, "CSV_COLUMN", "column %q is not known: use %s", name, strings.Join(rowColumns, ", ")).At(lineField(1)))
		}
		place[name] = i
	}
	for _, name := range rowColumns[:3] {
		if _, ok := place[name]; !ok {
			faults = append(faults, store.Errorf(store.Invalid, "CSV_COLUMN", "column %q is missing", name).At(lineField(1)))
		}
	}
	return place, faults
}

// rowOf reads one line.
func rowOf(line int, record []string, place map[string]int, width int) (Row, store.Errors) {
	if len(record) != width {
		return Row{}, store.Errors{store.Errorf(store.Invalid, "CSV_WIDTH", "line %d has %d fields and the first line names %d", line, len(record), width).At(lineField(line))}
	}
	field := func(name string) string {
		i, ok := place[name]
		if !ok {
			return ""
		}
		return strings.TrimSpace(record[i])
	}
	row := Row{Line: line, Lot: field("lot"), Step: ledger.Step{
		Unit: field("unit"), Event: store.Event(field("event")), Reason: field("reason"), Place: field("place"),
		Authority: field("authority"), Igniter: field("igniter"),
	}}
	var faults store.Errors
	fault := func(reason, format string, args ...any) {
		faults = append(faults, store.Errorf(store.Invalid, reason, format, args...).At(lineField(line)))
	}
	if !isID(row.Unit) {
		fault("CSV_UNIT", "line %d: unit %q is not a serial: lower-case letters, digits and hyphens, a letter first", line, row.Unit)
	}
	if row.Reason == "" {
		fault("REASON_MISSING", "line %d gives no reason", line)
	}
	if !slices.Contains(store.Events(), row.Event) {
		fault("CSV_EVENT", "line %d: event %q is not known", line, row.Event)
	}
	switch text := field("at_launch_point"); text {
	case "", "no", "false":
	case "yes", "true":
		row.AtLaunchPoint = true
	default:
		fault("CSV_WORD", "line %d: at_launch_point is %q: yes or no", line, text)
	}
	if receives := row.Event == store.Receive; receives && (row.Lot == "" || row.Place == "") {
		fault("CSV_LOT", "line %d: to receive a unit, say into which lot and where it is stowed", line)
	} else if !receives && row.Lot != "" {
		fault("CSV_LOT", "line %d: lot goes with receive alone", line)
	}
	return row, faults
}

// isID reports whether text is an id: [a-z][a-z0-9-]{0,62}.
func isID(text string) bool {
	if len(text) == 0 || len(text) > 63 || text[0] < 'a' || text[0] > 'z' {
		return false
	}
	for i := range len(text) {
		if c := text[i]; c != '-' && (c < '0' || c > '9') && (c < 'a' || c > 'z') {
			return false
		}
	}
	return true
}

// Take takes the steps of a file in its order, all or none, and returns how
// many units it received. Faults name the line.
func Take(ctx context.Context, book *ledger.Book, rows []Row) (received int, err error) {
	for i := 0; i < len(rows); {
		receives := rows[i].Event == store.Receive
		end := i
		for end < len(rows) && (rows[end].Event == store.Receive) == receives && (!receives || rows[end].Lot == rows[i].Lot && rows[end].Place == rows[i].Place && rows[end].Reason == rows[i].Reason) {
			end++
		}
		run := rows[i:end]
		if receives {
			units := make([]string, len(run))
			for j, row := range run {
				units[j] = row.Unit
			}
			_, err = book.ReceiveUnits(ctx, run[0].Lot, units, run[0].Place, run[0].Reason)
			received += len(run)
		} else {
			steps := make([]ledger.Step, len(run))
			for j, row := range run {
				steps[j] = row.Step
			}
			_, err = book.Take(ctx, steps)
		}
		if err != nil {
			return 0, onLines(err, run)
		}
		i = end
	}
	return received, nil
}

// onLines says the lines of faults that name a step by its place.
func onLines(err error, run []Row) error {
	var list store.Errors
	if !errors.As(err, &list) {
		var one *store.Error
		if !errors.As(err, &one) {
			return err
		}
		list = store.Errors{one}
	}
	for _, fault := range list {
		i := 0
		for _, form := range []string{"steps[%d]", "units[%d]"} {
			if _, err := fmt.Sscanf(fault.Field, form, &i); err == nil {
				break
			}
		}
		if i < len(run) {
			fault.Field, fault.Text = lineField(run[i].Line), fmt.Sprintf("line %d: %s", run[i].Line, fault.Text)
		}
	}
	return list
}

// unitColumns are the columns of a file of units.
var unitColumns = []string{
	"unit", "lot", "state", "place", "usable_until_time", "cause", "igniter", "plan", "sortie", "hold_until_time",
	"issue_time", "wait_until_time", "update_time", "sequence",
}

// Write writes units as CSV, the names of the columns first.
func Write(units []store.Unit) string {
	var text strings.Builder
	w := csv.NewWriter(&text)
	// A strings.Builder takes everything.
	_ = w.Write(unitColumns)
	for _, u := range units {
		_ = w.Write([]string{
			u.ID, u.Lot, string(u.State), u.Place, instant(u.UsableUntil), u.Cause, u.Igniter, u.Plan, u.Sortie,
			instant(u.Until), instant(u.IssueTime), instant(u.WaitUntil), instant(u.UpdateTime), fmt.Sprint(u.Seq),
		})
	}
	w.Flush()
	return text.String()
}

// instant writes an instant, or nothing where there is none.
func instant(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}
