package catalog

import (
	"os"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

func TestFilesMakeTheSameRevision(t *testing.T) {
	screen, err := refusal.NewScreen()
	if err != nil {
		t.Fatal(err)
	}
	before, err := Load(os.DirFS("../../testdata/catalog"), screen.Validator())
	if err != nil {
		t.Fatal(err)
	}
	after, err := FromFiles(before.Files(), screen.Validator())
	if err != nil {
		t.Fatal(err)
	}
	if after.Revision() != before.Revision() || len(Diff(before, after)) > 0 {
		t.Errorf("%s became %s: %v", before.Revision(), after.Revision(), Diff(before, after))
	}
	third, err := FromContents(proto.CloneOf(before.Contents()), screen.Validator())
	if err != nil || third.Revision() != before.Revision() {
		t.Errorf("from messages: %v, %v", third, err)
	}
}

func TestDiffNamesFields(t *testing.T) {
	screen, err := refusal.NewScreen()
	if err != nil {
		t.Fatal(err)
	}
	before, err := Load(os.DirFS("../../testdata/catalog"), screen.Validator())
	if err != nil {
		t.Fatal(err)
	}
	contents := proto.CloneOf(before.Contents())
	deck := contents.GetDecks()[0]
	deck.Spots[0].AvailableM = proto.Float64(deck.GetSpots()[0].GetAvailableM() + 1.5)
	deck.Spots = append(deck.Spots, &bowrollv1.Spot{Id: "extra", AvailableM: proto.Float64(0)})
	gone := contents.GetBoosterTypes()[0].GetName()
	contents.BoosterTypes = contents.GetBoosterTypes()[1:]
	after, err := FromContents(contents, screen.Validator())
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, d := range Diff(before, after) {
		said = append(said, d.GetKind().String()+" "+d.GetName())
		for _, f := range d.GetFields() {
			said = append(said, f.GetField()+": "+f.GetBefore()+" -> "+f.GetAfter())
		}
	}
	text := strings.Join(said, "\n")
	for _, want := range []string{
		"DIFF_KIND_REMOVED " + gone, "DIFF_KIND_CHANGED " + deck.GetName(), "spots[0].available_m: ", "]:  -> {id: extra, available_m: 0}",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	contents.Sites = contents.GetSites()[:1]
	if _, err := FromContents(contents, screen.Validator()); err == nil || !strings.Contains(err.Error(), "decks[") {
		t.Errorf("a deck without its site: %v", err)
	}
}
