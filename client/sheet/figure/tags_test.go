package figure

import (
	"testing"

	"pgregory.net/rapid"
)

// Names of marks that crowd at both ends must not meet a name nor a line.
func TestPlaceTagsKeepsCrowdedTagsClear(t *testing.T) {
	const span = 188.0
	tags := []Tag{{1, 11}, {11.7, 16}, {16.5, 18}, {104, 19}, {150, 13}, {165, 22}, {187, 22}}
	places := PlaceTags(tags, span)
	for i := range tags {
		for j := range i {
			if clash(tags[i], places[i], tags[j], places[j]) {
				t.Errorf("tags %d and %d meet: %v %v", i, j, places[i], places[j])
			}
		}
	}
}

func TestPlaceTagsNeverHangsOrLeavesTheDrawing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const span = 200.0
		tags := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Tag {
			return Tag{rapid.Float64Range(0, span).Draw(t, "x"), rapid.Float64Range(1, 60).Draw(t, "wide")}
		}), 0, 12).Draw(t, "tags")
		places := PlaceTags(tags, span)
		if len(places) != len(tags) {
			t.Fatalf("%d places for %d tags", len(places), len(tags))
		}
		for i, p := range places {
			if p.Tier < 0 || p.Tier >= len(tags) {
				t.Fatalf("tag %d stands on tier %d of %d", i, p.Tier, len(tags))
			}
			if from, _ := reach(tags[i], p); from < -1e-9 {
				t.Fatalf("tag %d begins at %g", i, from)
			}
		}
	})
}
