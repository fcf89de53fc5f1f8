package sqlite

import (
	"context"
	"strconv"
	"strings"
)

// rowsTogether is how many rows one INSERT takes. More than that saves little,
// and every number of rows is a statement of its own to prepare.
const rowsTogether = 24

// insertOf splits a plain INSERT of one row, "INSERT INTO t (…) VALUES ($1, …, $n)",
// into what stands before its values and how many there are. ok is false for any
// other statement: one with a clause behind the values counts row by row.
func insertOf(text string) (head string, values int, ok bool) {
	head, list, found := strings.Cut(text, "VALUES")
	list = strings.TrimSpace(list)
	if !found || !strings.HasPrefix(head, "INSERT INTO ") || !strings.HasPrefix(list, "($1,") || strings.IndexByte(list, ')') != len(list)-1 {
		return "", 0, false
	}
	return head, strings.Count(list, "$"), true
}

// manyRows is the INSERT of rowsTogether rows at once.
func manyRows(head string, values int) string {
	var b strings.Builder
	b.WriteString(head)
	b.WriteString("VALUES ")
	for i := range rowsTogether * values {
		switch {
		case i == 0:
			b.WriteString("($")
		case i%values == 0:
			b.WriteString("), ($")
		default:
			b.WriteString(", $")
		}
		b.WriteString(strconv.Itoa(i + 1))
	}
	b.WriteByte(')')
	return b.String()
}

// insertTogether inserts as many rows as fill whole statements, and returns how
// many that were. Where one of them is refused it stops before its statement,
// which SQLite has undone whole: row by row, the caller finds the one at fault.
func (c *conn) insertTogether(ctx context.Context, text string, rows [][]any) (int, error) {
	if len(rows) < rowsTogether {
		return 0, nil
	}
	head, values, ok := insertOf(text)
	if !ok {
		return 0, nil
	}
	statement, ok := c.together[text]
	if !ok {
		var err error
		if statement, err = c.prepare(ctx, manyRows(head, values)); err != nil {
			return 0, err
		}
		c.together[text] = statement
	}
	done, args := 0, make([]any, 0, rowsTogether*values)
	for ; len(rows)-done >= rowsTogether; done += rowsTogether {
		args = args[:0]
		for _, row := range rows[done : done+rowsTogether] {
			args = append(args, row...)
		}
		if _, err := statement.ExecContext(ctx, args...); err != nil {
			if c.Duplicate(err) {
				return done, nil
			}
			return done, err
		}
	}
	return done, nil
}
