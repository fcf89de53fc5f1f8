package chance

import (
	"errors"
	"reflect"
	"testing"
)

// A sample that nobody waits for any more stops after a coordinate, keeps those
// that are done, and comes out the same in the end.
func TestSampleStopsAndGoesOn(t *testing.T) {
	whole, err := NewSample(3, 2, 100).take(func() error { return nil }, 6)
	if err != nil {
		t.Fatal(err)
	}
	gone := errors.New("gone")
	s := NewSample(3, 2, 100)
	for done := range 6 {
		asked := 0
		_, err := s.take(func() error {
			if asked++; asked > 1 {
				return gone
			}
			return nil
		}, 6)
		if done < 5 && (!errors.Is(err, gone) || len(s.columns) != done+1) || done == 5 && err != nil {
			t.Fatalf("time %d: %v with %d coordinates", done, err, len(s.columns))
		}
	}
	got, err := s.take(func() error { return gone }, 6)
	if err != nil || !reflect.DeepEqual(got, whole) {
		t.Error("other coordinates than without a stop", err)
	}
	if none, err := s.take(func() error { return gone }, 0); err != nil || len(none) != 0 {
		t.Error(none, err)
	}
}
