package sweep

import (
	"io"
	"math"
	"reflect"
	"strconv"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// groupRows is how many rows a row group has: all in memory until it is written.
const groupRows = 1 << 16

// columnar writes Parquet.
type columnar struct {
	writer *parquet.GenericWriter[any]
	rows   []parquet.Row
	group  int // rows in the group so far
}

// newParquet lays the columns out in their order, which only a struct's fields
// keep.
func newParquet(columns []*bowrollv1.SweepColumn, pinned *bowrollv1.Provenance, w io.Writer) *columnar {
	kinds := map[string]reflect.Type{
		"number": reflect.TypeFor[float64](), "count": reflect.TypeFor[int32](), "text": reflect.TypeFor[string](), "flag": reflect.TypeFor[bool](),
	}
	fields := make([]reflect.StructField, len(columns))
	for i, c := range columns {
		tag := c.GetName()
		if c.GetNullable() {
			tag += ",optional"
		}
		if c.GetKind() == "text" {
			tag += ",dict"
		}
		fields[i] = reflect.StructField{Name: "C" + strconv.Itoa(i), Type: kinds[c.GetKind()], Tag: reflect.StructTag(`parquet:"` + tag + `"`)}
	}
	schema := parquet.SchemaOf(reflect.New(reflect.StructOf(fields)).Interface())
	return &columnar{
		writer: parquet.NewGenericWriter[any](w, schema, parquet.Compression(&zstd.Codec{Level: zstd.SpeedFastest}), parquet.CreatedBy("bowroll", pinned.GetModelVersion(), ""),
			parquet.KeyValueMetadata("bowroll.model_version", pinned.GetModelVersion()),
			parquet.KeyValueMetadata("bowroll.catalog_revision", pinned.GetCatalogRevision()),
			parquet.KeyValueMetadata("bowroll.request_digest", pinned.GetRequestDigest())),
		rows: make([]parquet.Row, 1024),
	}
}

func (c *columnar) write(t *table) error {
	for from := 0; from < t.rows; {
		n := min(len(c.rows), t.rows-from, groupRows-c.group)
		for r := range n {
			row := c.rows[r][:0]
			for i := range t.columns {
				row = append(row, t.columns[i].value(from+r, i))
			}
			c.rows[r] = row
		}
		if _, err := c.writer.WriteRows(c.rows[:n]); err != nil {
			return err
		}
		from += n
		if c.group += n; c.group == groupRows {
			c.group = 0
			if err := c.writer.Flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *columnar) end(*bowrollv1.SweepFileSummary) error { return c.writer.Close() }

// value is the value of a row in the column numbered at.
func (c *column) value(r, at int) parquet.Value {
	var v parquet.Value
	null := false
	switch c.kind {
	case "number":
		v, null = parquet.DoubleValue(c.numbers[r]), math.IsNaN(c.numbers[r])
	case "count":
		v = parquet.Int32Value(c.counts[r])
	case "text":
		v, null = parquet.ByteArrayValue([]byte(c.texts[r])), c.nullable && c.texts[r] == ""
	case "flag":
		v, null = parquet.BooleanValue(c.flags[r] == 1), c.flags[r] < 0
	}
	switch {
	case null:
		return parquet.NullValue().Level(0, 0, at)
	case c.nullable:
		return v.Level(0, 1, at)
	}
	return v.Level(0, 0, at)
}
