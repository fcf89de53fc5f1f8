package catalog

import (
	"slices"
	"testing"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func TestNeighboursAreSpotsOfTheDeck(t *testing.T) {
	deck := &bowrollv1.Deck{
		Spots: []*bowrollv1.Spot{{Id: "s1"}, {Id: "s2"}},
		Neighbours: []*bowrollv1.SpotNeighbour{
			{Spot: "s1", Other: "s2"}, {Spot: "s2", Other: "s1"}, {Spot: "s1", Other: "s9"}, {Spot: "s2", Other: "s2"},
		},
	}
	var got []string
	for _, v := range CheckDeck(deck, nil) {
		got = append(got, v.GetField()+" "+v.GetRule())
	}
	want := []string{"neighbours[1] unique", "neighbours[2].other known", "neighbours[3].other pair"}
	if !slices.Equal(got, want) {
		t.Errorf("faults %q, want %q", got, want)
	}
}
