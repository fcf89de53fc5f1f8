package store

// Content is what an entry of the log holds a digest of, as it is kept beside the
// log: the readings that came with it, or the cycle and answer of a plan.
type Content struct {
	// Seq is the entry it belongs to.
	Seq int64
	// Readings were new with the entry, in the order of time, then place.
	Readings []Reading
	// Cycle and Answer are those of a plan, encoded; Sorties are the sorties that
	// the answer launches, before anything was done with them.
	Cycle   []byte
	Answer  []byte
	Sorties []Sortie
}
