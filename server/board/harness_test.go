package board_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"
	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/access"
	"bowroll/server/assembly"
	"bowroll/server/board"
	"bowroll/testdata"
)

// dawn is shortly before the cycle that the tests plan.
var dawn = time.Date(2041, 3, 7, 4, 30, 0, 0, time.UTC)

func now() time.Time { return dawn }

// world is a service with its board on a real connection.
type world struct {
	t    *testing.T
	url  string
	web  *httptest.Server
	conn *grpc.ClientConn
	key  *ecdsa.PrivateKey // of the issuer, where who calls is asked
}

// begin starts a service over a store; asked says whether it asks who calls.
func begin(t *testing.T, asked bool) *world {
	t.Helper()
	w := &world{t: t}
	kept, err := assembly.OpenStore(t.Context(), filepath.Join(t.TempDir(), "board.db"))
	if err != nil {
		t.Fatal(err)
	}
	var guard *access.Guard
	if asked {
		guard = w.guard()
	}
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	sweeping := &assembly.SweepWorkers{Count: 1, Log: zap.NewNop()}
	s, err := assembly.New(server.Config{Log: zap.NewNop(), NewID: assembly.NewID, Registry: prometheus.NewRegistry(), Access: guard, Cores: 2, Now: now,
		Pages: func(conn *grpc.ClientConn) (http.Handler, error) {
			return board.New(board.Config{Conn: conn, Access: guard, Keeps: true, Now: now, NewID: assembly.NewID})
		},
	}, folder, assembly.WithStore(kept, now), assembly.WithSweepWorkers(sweeping))
	if err != nil {
		t.Fatal(err)
	}
	if err := sweeping.Start(context.WithoutCancel(t.Context())); err != nil {
		t.Fatal(err)
	}
	if w.conn, err = s.Connect(); err != nil {
		t.Fatal(err)
	}
	w.web = httptest.NewServer(s.Handler())
	w.url = w.web.URL
	t.Cleanup(func() {
		w.web.CloseClientConnections()
		w.web.Close()
		_ = w.conn.Close()
		if err := sweeping.Stop(); err != nil {
			t.Error(err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		if err := kept.Close(); err != nil {
			t.Error(err)
		}
	})
	return w
}

// guard knows one issuer.
func (w *world) guard() *access.Guard {
	t := w.t
	t.Helper()
	var err error
	if w.key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
		t.Fatal(err)
	}
	set, err := json.Marshal(map[string]any{"keys": []any{jose.JSONWebKey{Key: w.key.Public(), KeyID: "k1", Algorithm: "ES256", Use: "sig"}}})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "keys.json")
	if err := os.WriteFile(path, set, 0o600); err != nil {
		t.Fatal(err)
	}
	guard, err := access.New(access.Config{Issuers: []access.IssuerConfig{{Issuer: "https://sign-in.fleet.example", Audience: "bowroll", Keys: path}}}, now, prometheus.NewRegistry())
	if err != nil {
		t.Fatal(err)
	}
	if err := guard.Refresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	return guard
}

// token is a token of somebody with grants.
func (w *world) token(name string, grants ...string) string {
	w.t.Helper()
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.ES256, Key: w.key}, (&jose.SignerOptions{}).WithType("JWT").WithHeader("kid", "k1"))
	if err != nil {
		w.t.Fatal(err)
	}
	token, err := jwt.Signed(signer).Claims(map[string]any{"iss": "https://sign-in.fleet.example", "aud": "bowroll", "sub": name,
		"iat": dawn.Unix(), "nbf": dawn.Unix(), "exp": dawn.Add(time.Hour).Unix(), "bowroll": grants}).Serialize()
	if err != nil {
		w.t.Fatal(err)
	}
	return token
}

// dawnFile is the cycle that the tests plan.
func dawnFile(t testing.TB) []byte {
	t.Helper()
	text, err := testdata.Files.ReadFile("cycles/dawn.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// keepDawn keeps the dawn plan, confirms it, issues its first card and suspends
// the lot that the card's units come from, which voids it.
func (w *world) keepDawn(ctx context.Context) {
	t := w.t
	t.Helper()
	stock, plans := bowrollv1.NewStockClient(w.conn), bowrollv1.NewPlansClient(w.conn)
	n := 0
	id := func() string { n++; return fmt.Sprintf("board-test-%d", n) }
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, lot := range []struct{ id, kind, expires string }{
		{"lot-07", "emberlin-6", "2041-03-31T00:00:00Z"}, {"lot-11", "emberlin-6", "2042-09-30T00:00:00Z"},
		{"lot-18", "gaunt-12", "2041-11-30T00:00:00Z"}, {"lot-21", "gaunt-12", "2042-05-31T00:00:00Z"},
	} {
		expires, err := time.Parse(time.RFC3339, lot.expires)
		must(err)
		var units []string
		var steps []*bowrollv1.UnitStep
		for i := range 12 {
			unit := fmt.Sprintf("%s-%02d", strings.ReplaceAll(lot.id, "lot-", "u"), i+1)
			units = append(units, unit)
			steps = append(steps, &bowrollv1.UnitStep{Unit: unit, Event: bowrollv1.UnitEvent_UNIT_EVENT_INSPECT, Reason: "arrival"})
		}
		_, err = stock.CreateLot(ctx, &bowrollv1.CreateLotRequest{Parent: "sites/varrow", LotId: lot.id, Units: units, Place: "mag-1", Reason: "note", Actor: "quill", RequestId: id(),
			Lot: &bowrollv1.StockLot{Kind: bowrollv1.LotKind_LOT_KIND_BOOSTER, Type: "boosterTypes/" + lot.kind, ExpireTime: timestamppb.New(expires)}})
		must(err)
		_, err = stock.MoveUnits(ctx, &bowrollv1.MoveUnitsRequest{Parent: "sites/varrow", Steps: steps, Actor: "quill", RequestId: id()})
		must(err)
		for _, s := range steps {
			s.Event = bowrollv1.UnitEvent_UNIT_EVENT_ACCEPT
		}
		_, err = stock.MoveUnits(ctx, &bowrollv1.MoveUnitsRequest{Parent: "sites/varrow", Steps: steps, Actor: "quill", RequestId: id()})
		must(err)
	}
	asked, _, err := cycle.Read("dawn.yaml", dawnFile(t))
	must(err)
	answer, err := bowrollv1.NewCyclesClient(w.conn).Plan(ctx, &bowrollv1.CyclesPlanRequest{Cycle: asked})
	must(err)
	plan, err := plans.CreatePlan(ctx, &bowrollv1.CreatePlanRequest{Parent: "sites/varrow", PlanId: "dawn-1", DisplayName: "Dawn launch", Cycle: asked, Answer: answer, Actor: "quill", RequestId: id()})
	must(err)
	// A second one stays a draft, with a waiver in force and one that was revoked.
	_, err = plans.CreatePlan(ctx, &bowrollv1.CreatePlanRequest{Parent: "sites/varrow", PlanId: "dawn-2", Cycle: asked, Answer: answer, Actor: "quill", RequestId: id()})
	must(err)
	until := timestamppb.New(dawn.Add(4 * time.Hour))
	for i, caution := range []string{"timeline-late", "burn-out-in-rotation"} {
		_, err = plans.RecordWaiver(ctx, &bowrollv1.RecordWaiverRequest{Name: "sites/varrow/plans/dawn-2", Sortie: "cedar-1", Caution: caution, Authority: "R. Holm, flying officer",
			Reason: "flown so before, dry deck", UntilTime: until, Actor: "quill", RequestId: id()})
		must(err)
		if i == 0 {
			_, err = plans.RevokeWaiver(ctx, &bowrollv1.RevokeWaiverRequest{Name: "sites/varrow/plans/dawn-2", Sortie: "cedar-1", Caution: caution, Reason: "another launch was meant", Actor: "quill", RequestId: id()})
			must(err)
		}
	}
	plan, err = plans.ConfirmPlan(ctx, &bowrollv1.ConfirmPlanRequest{Name: plan.GetName(), Etag: plan.GetEtag(), HoldUntilTime: until, Actor: "quill", RequestId: id()})
	must(err)
	for _, s := range plan.GetSorties() {
		if len(s.GetDraws()) == 0 {
			continue
		}
		_, err = plans.IssueCard(ctx, &bowrollv1.IssueCardRequest{Name: plan.GetName(), Sortie: s.GetId(), UntilTime: until, Actor: "quill", RequestId: id()})
		must(err)
	}
	_, err = stock.SuspendLot(ctx, &bowrollv1.SuspendLotRequest{Name: "sites/varrow/lots/" + plan.GetSorties()[0].GetDraws()[0].GetLot(), Reason: "two duds in a row ashore", Actor: "quill", RequestId: id()})
	must(err)
}

// visitor is a browser without script.
type visitor struct {
	t      *testing.T
	url    string
	client *http.Client
}

func (w *world) visitor() *visitor {
	jar, err := cookiejar.New(nil)
	if err != nil {
		w.t.Fatal(err)
	}
	return &visitor{w.t, w.url, &http.Client{Jar: jar, Timeout: time.Minute}}
}

// get reads a page.
func (v *visitor) get(path string) (code int, text string, header http.Header) {
	v.t.Helper()
	r, err := v.client.Get(v.url + path)
	return v.read(r, err)
}

func (v *visitor) read(r *http.Response, err error) (int, string, http.Header) {
	v.t.Helper()
	if err != nil {
		v.t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return r.StatusCode, string(text), r.Header
}

var formWord = regexp.MustCompile(`name="form" value="([^"]+)"`)

// word is the word that forms of this visitor carry.
func (v *visitor) word() string {
	v.t.Helper()
	_, text, _ := v.get("/")
	found := formWord.FindStringSubmatch(text)
	if found == nil {
		v.t.Fatal("no form on the page")
	}
	return found[1]
}

// post sends a form with its word.
func (v *visitor) post(path string, fields url.Values) (code int, text string, header http.Header) {
	v.t.Helper()
	if fields == nil {
		fields = url.Values{}
	}
	if !fields.Has("form") {
		fields.Set("form", v.word())
	}
	r, err := v.client.PostForm(v.url+path, fields)
	return v.read(r, err)
}

// plan sends a cycle file and waits for its page.
func (v *visitor) plan(file []byte) (path, text string) {
	v.t.Helper()
	word := v.word()
	var body strings.Builder
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("file", "dawn.yaml")
	if err == nil {
		_, err = part.Write(file)
	}
	if err == nil {
		err = form.WriteField("form", word)
	}
	if err != nil || form.Close() != nil {
		v.t.Fatal(err)
	}
	r, err := v.client.Post(v.url+"/cycle", form.FormDataContentType(), strings.NewReader(body.String()))
	if err != nil {
		v.t.Fatal(err)
	}
	path = r.Request.URL.Path
	_, text, _ = v.read(r, nil)
	for range 300 {
		if !strings.Contains(text, `id="work"`) {
			return path, text
		}
		time.Sleep(50 * time.Millisecond)
		_, text, _ = v.get(path)
	}
	v.t.Fatal("no plan came in time")
	return "", ""
}
