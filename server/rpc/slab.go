package rpc

import (
	"math"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A slab holds the messages that nearly every answer about a take-off is made of,
// so that they are allocated as one: messages and optional numbers are small and
// many, and each by itself costs more than it holds. An answer points into its
// slab, which lives as long as it does.
type slab struct {
	takeoff    bowrollv1.Takeoff
	provenance bowrollv1.Provenance
	air        bowrollv1.AirState
	roll       bowrollv1.Roll
	climb      bowrollv1.Climb
	firing     bowrollv1.FiringUsed
	cue        bowrollv1.Cue
	asymmetry  bowrollv1.Asymmetry
	finding    bowrollv1.Finding
	findings   [1]*bowrollv1.Finding
	numbers    [30]float64 // of an answer without further sections
	used       int
}

// number is where an optional number is kept.
func (s *slab) number(v float64) *float64 {
	if s.used == len(s.numbers) {
		return proto.Float64(v)
	}
	at := &s.numbers[s.used]
	s.used++
	*at = v
	return at
}

// finite is v, or nothing where v is not a finite number.
func (s *slab) finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return s.number(v)
}
