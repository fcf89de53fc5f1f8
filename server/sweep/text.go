package sweep

import (
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// flushAt is how many bytes of text are gathered before they are written.
const flushAt = 256 << 10

// ndjson writes one JSON object a line.
type ndjson struct {
	w      io.Writer
	pinned *bowrollv1.Provenance
	buffer []byte
}

func (n *ndjson) write(t *table) error {
	keys := make([]string, len(t.columns))
	for i, c := range t.columns {
		keys[i] = `,"` + c.name + `":`
	}
	for r := range t.rows {
		b := append(n.buffer, `{"type":"item"`...)
		for i := range t.columns {
			b = append(b, keys[i]...)
			b = t.columns[i].appendJSON(b, r)
		}
		if n.buffer = append(b, '}', '\n'); len(n.buffer) > flushAt {
			if err := n.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (n *ndjson) flush() error {
	_, err := n.w.Write(n.buffer)
	n.buffer = n.buffer[:0]
	return err
}

// end writes the summary: a file without it was cut.
func (n *ndjson) end(s *bowrollv1.SweepFileSummary) error {
	b := append(n.buffer, `{"type":"summary","complete":true,"row_count":`...)
	b = strconv.AppendInt(b, int64(s.GetRowCount()), 10)
	b = strconv.AppendInt(append(b, `,"refused_count":`...), int64(s.GetRefusedCount()), 10)
	b = strconv.AppendInt(append(b, `,"goes_count":`...), int64(s.GetGoesCount()), 10)
	for _, p := range [][2]string{
		{"model_version", n.pinned.GetModelVersion()}, {"catalog_revision", n.pinned.GetCatalogRevision()}, {"request_digest", n.pinned.GetRequestDigest()},
	} {
		b = append(append(b, `,"`+p[0]+`":`...), quoted(p[1])...)
	}
	n.buffer = append(b, '}', '\n')
	return n.flush()
}

// appendJSON appends the value of a row.
func (c *column) appendJSON(b []byte, r int) []byte {
	switch c.kind {
	case "number":
		if !math.IsNaN(c.numbers[r]) {
			return appendJSON(b, c.numbers[r])
		}
	case "count":
		return strconv.AppendInt(b, int64(c.counts[r]), 10)
	case "text":
		if c.texts[r] != "" || !c.nullable {
			return append(b, quoted(c.texts[r])...)
		}
	case "flag":
		if c.flags[r] >= 0 {
			return strconv.AppendBool(b, c.flags[r] == 1)
		}
	}
	return append(b, "null"...)
}

// quoted is a text as JSON.
func quoted(text string) []byte {
	b, err := json.Marshal(text)
	if err != nil {
		return []byte(`""`) // which a string never gives
	}
	return b
}

// commas writes comma-separated values.
type commas struct {
	w      io.Writer
	buffer []byte
}

func newCSV(columns []*bowrollv1.SweepColumn, w io.Writer) *commas {
	c := &commas{w: w}
	for i, column := range columns {
		if i > 0 {
			c.buffer = append(c.buffer, ',')
		}
		c.buffer = append(c.buffer, column.GetName()...)
	}
	c.buffer = append(c.buffer, "\r\n"...)
	return c
}

func (c *commas) write(t *table) error {
	for r := range t.rows {
		b := c.buffer
		for i := range t.columns {
			if i > 0 {
				b = append(b, ',')
			}
			b = t.columns[i].appendCSV(b, r)
		}
		if c.buffer = append(b, "\r\n"...); len(c.buffer) > flushAt {
			if err := c.end(nil); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *commas) end(*bowrollv1.SweepFileSummary) error {
	_, err := c.w.Write(c.buffer)
	c.buffer = c.buffer[:0]
	return err
}

// appendCSV appends the value of a row; null is empty.
func (c *column) appendCSV(b []byte, r int) []byte {
	switch c.kind {
	case "number":
		if math.IsNaN(c.numbers[r]) {
			return b
		}
	case "text":
		text := c.texts[r]
		if strings.ContainsAny(text, "\",\r\n") {
			text = `"` + strings.ReplaceAll(text, `"`, `""`) + `"`
		}
		return append(b, text...)
	case "flag":
		if c.flags[r] < 0 {
			return b
		}
	}
	return c.appendJSON(b, r)
}
