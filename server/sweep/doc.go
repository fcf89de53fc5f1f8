// Package sweep computes sweeps: grids and samples of take-offs too large for one
// call, as jobs that outlive whoever asked.
//
//	spec.go, fields.go   what may be asked, and every fault of it at once
//	plan.go, draw.go     from the index of a row to its inputs, by itself
//	block.go             the results of one part, as they are kept
//	results.go           where they are kept: files beside a store file, or a table
//	queue.go             the job queue over the store's own database
//	work.go              one part computed, kept and counted
//	table.go, file.go    rows as NDJSON, CSV and Parquet
//
// A sweep is cut into parts of a fixed number of rows. Row i depends on the spec
// and i alone, so that a part may be computed anywhere, any number of times, and
// has the same bytes. It is kept first and counted then, in one transaction that
// counts each part once: a worker that dies in between loses its time and
// nothing else, and no row is there twice.
package sweep
