package assembly_test

import (
	"context"
	"path/filepath"
	"sync"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// changes calls the catalog's methods by name and remembers what was sent.
type changes struct {
	t    *testing.T
	conn *grpc.ClientConn
	sent []change
}

type change struct {
	method string
	request,
	answer proto.Message
}

func (c *changes) invoke(method string, request proto.Message) (proto.Message, error) {
	found, err := protoregistry.GlobalFiles.FindDescriptorByName("bowroll.v1.Catalog")
	if err != nil {
		return nil, err
	}
	output := found.(protoreflect.ServiceDescriptor).Methods().ByName(protoreflect.Name(method)).Output()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(output.FullName())
	if err != nil {
		return nil, err
	}
	answer := kind.New().Interface()
	return answer, c.conn.Invoke(context.Background(), "/bowroll.v1.Catalog/"+method, request, answer)
}

// change sends a request once, again, many at once and with another body.
func (c *changes) change(method string, request proto.Message) proto.Message {
	c.t.Helper()
	answer, err := c.invoke(method, request)
	if err != nil {
		c.t.Fatalf("%s: %v", method, err)
	}
	if again, err := c.invoke(method, request); err != nil || !proto.Equal(again, answer) {
		c.t.Errorf("%s again: %v, %v", method, again, err)
	}
	var all sync.WaitGroup
	for range 16 {
		all.Go(func() {
			if again, err := c.invoke(method, request); err != nil || !proto.Equal(again, answer) {
				c.t.Errorf("%s at once: %v, %v", method, again, err)
			}
		})
	}
	all.Wait()
	other := proto.Clone(request)
	other.ProtoReflect().Set(other.ProtoReflect().Descriptor().Fields().ByName("actor"), protoreflect.ValueOfString("somebody else"))
	_, err = c.invoke(method, other)
	wantCode(c.t, err, codes.FailedPrecondition)
	c.sent = append(c.sent, change{method, proto.Clone(request), proto.Clone(answer)}) // the caller may change both
	return answer
}

// Every change of the catalog may be sent again: one after the other, many at
// once, after a restart; and with another body it is refused. It happens once.
func TestEveryCatalogChangeHappensOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bowroll.db")
	conn, stop := over(t, path)
	c := &changes{t: t, conn: conn}
	client := bowrollv1.NewCatalogClient(conn)
	folder, err := client.ExportCatalog(t.Context(), &bowrollv1.ExportCatalogRequest{})
	if err != nil {
		t.Fatal(err)
	}
	plane, err := client.GetAircraftType(t.Context(), &bowrollv1.GetAircraftTypeRequest{Name: "aircraftTypes/corvane"})
	if err != nil {
		t.Fatal(err)
	}
	booster, err := client.GetBoosterType(t.Context(), &bowrollv1.GetBoosterTypeRequest{Name: "boosterTypes/emberlin-6"})
	if err != nil {
		t.Fatal(err)
	}
	site, err := client.GetSite(t.Context(), &bowrollv1.GetSiteRequest{Name: "sites/varrow"})
	if err != nil {
		t.Fatal(err)
	}
	deck, err := client.GetDeck(t.Context(), &bowrollv1.GetDeckRequest{Name: "sites/varrow/decks/main"})
	if err != nil {
		t.Fatal(err)
	}
	plane.Name, booster.Name, site.Name, deck.Name = "aircraftTypes/once", "boosterTypes/once", "sites/once", "sites/once/decks/main"

	plane = c.change("CreateAircraftType", &bowrollv1.CreateAircraftTypeRequest{AircraftType: plane, Reason: "r", Actor: "a", RequestId: "create-plane"}).(*bowrollv1.AircraftType)
	booster = c.change("CreateBoosterType", &bowrollv1.CreateBoosterTypeRequest{BoosterType: booster, Reason: "r", Actor: "a", RequestId: "create-booster"}).(*bowrollv1.BoosterType)
	site = c.change("CreateSite", &bowrollv1.CreateSiteRequest{Site: site, Reason: "r", Actor: "a", RequestId: "create-site"}).(*bowrollv1.Site)
	deck = c.change("CreateDeck", &bowrollv1.CreateDeckRequest{Parent: site.Name, Deck: deck, Reason: "r", Actor: "a", RequestId: "create-deck"}).(*bowrollv1.Deck)

	plane.DisplayName, booster.DisplayName, site.DisplayName, deck.DisplayName = "Once", "Once", "Once", "Once"
	plane = c.change("UpdateAircraftType", &bowrollv1.UpdateAircraftTypeRequest{Name: plane.Name, AircraftType: plane, Etag: plane.Etag, Reason: "r", Actor: "a", RequestId: "update-plane"}).(*bowrollv1.AircraftType)
	booster = c.change("UpdateBoosterType", &bowrollv1.UpdateBoosterTypeRequest{Name: booster.Name, BoosterType: booster, Etag: booster.Etag, Reason: "r", Actor: "a", RequestId: "update-booster"}).(*bowrollv1.BoosterType)
	site = c.change("UpdateSite", &bowrollv1.UpdateSiteRequest{Name: site.Name, Site: site, Etag: site.Etag, Reason: "r", Actor: "a", RequestId: "update-site"}).(*bowrollv1.Site)
	deck = c.change("UpdateDeck", &bowrollv1.UpdateDeckRequest{Name: deck.Name, Deck: deck, Etag: deck.Etag, Reason: "r", Actor: "a", RequestId: "update-deck"}).(*bowrollv1.Deck)

	c.change("DeleteDeck", &bowrollv1.DeleteDeckRequest{Name: deck.Name, Etag: deck.Etag, Reason: "r", Actor: "a", RequestId: "delete-deck"})
	c.change("DeleteSite", &bowrollv1.DeleteSiteRequest{Name: site.Name, Etag: site.Etag, Reason: "r", Actor: "a", RequestId: "delete-site"})
	c.change("DeleteBoosterType", &bowrollv1.DeleteBoosterTypeRequest{Name: booster.Name, Etag: booster.Etag, Reason: "r", Actor: "a", RequestId: "delete-booster"})
	c.change("DeleteAircraftType", &bowrollv1.DeleteAircraftTypeRequest{Name: plane.Name, Etag: plane.Etag, Reason: "r", Actor: "a", RequestId: "delete-plane"})
	c.change("ImportCatalog", &bowrollv1.ImportCatalogRequest{Files: folder.GetFiles(), Reason: "r", Actor: "a", RequestId: "import-folder"})

	// Every method that takes a request_id was called.
	called := map[protoreflect.Name]bool{}
	for _, s := range c.sent {
		called[protoreflect.Name(s.method)] = true
	}
	methods := bowrollv1.File_bowroll_v1_catalog_proto.Services().ByName("Catalog").Methods()
	for i := range methods.Len() {
		if m := methods.Get(i); m.Input().Fields().ByName("request_id") != nil && !called[m.Name()] {
			t.Errorf("%s was not tried", m.Name())
		}
	}
	before, err := client.ListCatalogRevisions(t.Context(), &bowrollv1.ListCatalogRevisionsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	stop()
	c.conn, stop = over(t, path)
	defer stop()
	for _, s := range c.sent {
		if again, err := c.invoke(s.method, s.request); err != nil || !proto.Equal(again, s.answer) {
			t.Errorf("%s after a restart: %v, %v", s.method, again, err)
		}
	}
	after, err := bowrollv1.NewCatalogClient(c.conn).ListCatalogRevisions(t.Context(), &bowrollv1.ListCatalogRevisionsRequest{})
	if err != nil || len(after.GetRevisions()) != len(before.GetRevisions()) {
		t.Errorf("something happened twice: %d revisions, then %d: %v", len(before.GetRevisions()), len(after.GetRevisions()), err)
	}
}
