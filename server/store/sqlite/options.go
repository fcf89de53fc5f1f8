package sqlite

import (
	"net/url"
	"strings"
)

// Options tune a store. The zero value is what a service should use.
type Options struct {
	// Driver is the database/sql driver: "sqlite3" (the default), or another
	// one that the program has registered and that reads _pragma in its data
	// source name.
	Driver string
	// VFS names the file system that SQLite uses; empty for the system's.
	VFS string
	// Synchronous is the SQLite setting, FULL by default. NORMAL loses
	// acknowledged changes when the power fails; it exists for tests that show it.
	Synchronous string
	// Exclusive uses one connection for everything, as a VFS without shared
	// memory needs. Reads then wait for writes.
	Exclusive bool
	// Readers is the number of connections that read, 4 by default.
	Readers int
	// At, where set, is called at named points, for tests that end the process
	// there: by Open ("migrated") and by the writer ("begin", "before commit",
	// "after commit").
	At func(point string)
}

const defaultDriver = "sqlite3"

func (o Options) withDefaults() Options {
	if o.Driver == "" {
		o.Driver = defaultDriver
	}
	if o.Synchronous == "" {
		o.Synchronous = "FULL"
	}
	if o.Readers <= 0 {
		o.Readers = 4
	}
	if o.At == nil {
		o.At = func(string) {}
	}
	return o
}

// dataSource returns the name of the database at path for a writer or a reader.
func (o Options) dataSource(path string, reader bool) string {
	pragmas := []string{"busy_timeout(5000)"}
	if o.Exclusive {
		pragmas = append(pragmas, "locking_mode(exclusive)")
	}
	pragmas = append(pragmas, "foreign_keys(on)", "trusted_schema(off)", "synchronous("+o.Synchronous+")")
	if reader {
		pragmas = append(pragmas, "query_only(on)")
	}
	var b strings.Builder
	b.WriteString("file:")
	b.WriteString((&url.URL{Path: path}).EscapedPath())
	if reader {
		b.WriteString("?_txlock=deferred")
	} else {
		b.WriteString("?_txlock=immediate")
	}
	for _, pragma := range pragmas {
		b.WriteString("&_pragma=" + url.QueryEscape(pragma))
	}
	if o.VFS != "" {
		b.WriteString("&vfs=" + url.QueryEscape(o.VFS))
	}
	return b.String()
}
