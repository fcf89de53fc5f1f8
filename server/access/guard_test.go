package access_test

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	_ "bowroll/proto/bowroll/v1" // the contract that the table is held against
	"bowroll/server/access"
	"bowroll/server/refusal"
)

// methods returns every method of the contract by full name.
func methods() map[string]protoreflect.MethodDescriptor {
	all := map[string]protoreflect.MethodDescriptor{}
	protoregistry.GlobalFiles.RangeFilesByPackage("bowroll.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				m := service.Methods().Get(j)
				all["/"+string(service.FullName())+"/"+string(m.Name())] = m
			}
		}
		return true
	})
	return all
}

func TestTheTableAndTheContractNameTheSameMethods(t *testing.T) {
	table, contract := access.Table(), methods()
	for name := range contract {
		need, listed := table[name]
		if !listed {
			t.Errorf("%s: the table does not say who may call it", name)
		}
		if need.Open || !slices.Contains(access.Roles(), need.Role) {
			t.Errorf("%s: needs %+v", name, need)
		}
	}
	for name := range table {
		if strings.HasPrefix(name, "/bowroll.") && contract[name] == nil {
			t.Errorf("%s: in the table but not in the contract", name)
		}
	}
}

// TestWhatIsKeptForASiteIsScopedByIt reads the contract rather than the table:
// whatever names a thing below a site, except the catalog's own, must be scoped.
func TestWhatIsKeptForASiteIsScopedByIt(t *testing.T) {
	table := access.Table()
	for name, m := range methods() {
		service := string(m.Parent().Name())
		fields := m.Input().Fields()
		if service == "Catalog" || strings.HasSuffix(string(m.Name()), "Correction") && fields.ByName("parent") == nil {
			continue // corrections are the catalog's
		}
		names := fields.ByName("name") != nil || fields.ByName("parent") != nil
		if scoped := table[name].Scope == access.AtSite; scoped != names {
			t.Errorf("%s: scoped %v, names a thing %v", name, scoped, names)
		}
		reads := strings.HasPrefix(string(m.Name()), "Get") || strings.HasPrefix(string(m.Name()), "List")
		if fields.ByName("actor") != nil && table[name].Role == access.Reader && !reads {
			t.Errorf("%s: a reader may change what is kept", name)
		}
	}
}

// request makes a request of a method for a thing at a site, or for none.
func request(t *testing.T, m protoreflect.MethodDescriptor, site string) proto.Message {
	t.Helper()
	mt, err := protoregistry.GlobalTypes.FindMessageByName(m.Input().FullName())
	if err != nil {
		t.Fatal(err)
	}
	r := mt.New()
	for _, field := range []protoreflect.Name{"name", "parent"} {
		if fd := r.Descriptor().Fields().ByName(field); fd != nil && fd.Kind() == protoreflect.StringKind && site != "" {
			r.Set(fd, protoreflect.ValueOfString("sites/"+site+"/things/a"))
		}
	}
	return r.Interface()
}

// TestEveryMethodRoleAndSite tries every method with every role at its own
// site, at another, at every site, and with none, against what the roles mean.
func TestEveryMethodRoleAndSite(t *testing.T) {
	g, _ := newGuard(t, newClock(), keySet(t, newKey(t, "one").public()))
	tried := 0
	for name, m := range methods() {
		need := access.Table()[name]
		for _, site := range []string{"varrow", ""} {
			req := request(t, m, site)
			scoped, fleet := need.Scope == access.AtSite, need.Scope == access.Fleet
			for _, role := range access.Roles() {
				holds := role == need.Role || need.Role == access.Reader
				for grant, want := range map[string]bool{
					"varrow": holds && !fleet && (!scoped || site == "varrow"),
					"skarn":  holds && !fleet && !scoped,
					"varro":  holds && !fleet && !scoped, // the beginning of a name is not the name
					"*":      holds,
				} {
					tried++
					who := access.Identity{Name: "a", Grants: []access.Grant{{Role: role, Site: grant}}}
					err := g.Permit(who, name, req)
					if (err == nil) != want || err != nil && (status.Code(err) != codes.PermissionDenied || refusal.Reason(err) != access.ReasonDenied) {
						t.Errorf("%s at %q with %s@%s: %v", name, site, role, grant, err)
					}
				}
			}
			for _, nobody := range []access.Identity{{}, {Grants: []access.Grant{{Role: access.Custodian, Site: "*"}}}} {
				if err := g.Permit(nobody, name, req); status.Code(err) != codes.Unauthenticated {
					t.Errorf("%s by nobody: %v", name, err)
				}
			}
			if err := g.Permit(access.Identity{Name: "a"}, name, req); status.Code(err) != codes.PermissionDenied {
				t.Errorf("%s without grants: %v", name, err)
			}
		}
	}
	if tried < 50*2*4*4 {
		t.Errorf("only %d tried", tried)
	}
}

func TestOnlyWhatTheTableNamesIsServed(t *testing.T) {
	g, _ := newGuard(t, newClock(), keySet(t, newKey(t, "one").public()))
	everything := access.Identity{Name: "a"}
	for _, role := range access.Roles() {
		everything.Grants = append(everything.Grants, access.Grant{Role: role, Site: "*"})
	}
	for _, method := range []string{"", "/bowroll.v1.Stock/Explode", "/bowroll.v2.Takeoffs/Compute", "/grpc.channelz.v1.Channelz/GetServers", "/bowroll.v1.Takeoffs/compute"} {
		if err := g.Permit(everything, method, nil); status.Code(err) != codes.PermissionDenied {
			t.Errorf("%q: %v", method, err)
		}
	}
	if err := g.Permit(access.Identity{}, healthpb.Health_Check_FullMethodName, nil); err != nil {
		t.Error(err)
	}
}

// TestNamesThatAreNoneBelongToNoSite tries names that could pass for others.
func TestNamesThatAreNoneBelongToNoSite(t *testing.T) {
	g, _ := newGuard(t, newClock(), keySet(t, newKey(t, "one").public()))
	const method = "/bowroll.v1.Stock/GetLot"
	m := methods()[method]
	who := access.Identity{Name: "a", Grants: []access.Grant{{Role: access.Armament, Site: "varrow"}}}
	for _, name := range []string{
		"", "sites/", "sites//lots/a", "varrow", "/sites/varrow/lots/a", "sites/*/lots/a", "sites/-/lots/a",
		"sites/VARROW/lots/a", "sites/varrow /lots/a", "sites/skarn/../varrow/lots/a", "sites/varrow%2f..%2fskarn/lots/a", "lots/a",
	} {
		r := request(t, m, "").ProtoReflect()
		r.Set(r.Descriptor().Fields().ByName("name"), protoreflect.ValueOfString(name))
		if err := g.Permit(who, method, r.Interface()); status.Code(err) != codes.PermissionDenied {
			t.Errorf("%q: %v", name, err)
		}
	}
}

// inTLS is a call over a connection with this verified certificate.
func inTLS(c *x509.Certificate) context.Context {
	state := tls.ConnectionState{PeerCertificates: []*x509.Certificate{c}, VerifiedChains: [][]*x509.Certificate{{c}}}
	return peer.NewContext(context.Background(), &peer.Peer{AuthInfo: credentials.TLSInfo{State: state}})
}

func TestCertificates(t *testing.T) {
	k := newKey(t, "one")
	g, _ := newGuard(t, newClock(), keySet(t, k.public()))
	certificate := func(commonName string, uris ...string) *x509.Certificate {
		c := &x509.Certificate{Subject: pkix.Name{CommonName: commonName}}
		for _, text := range uris {
			u, err := url.Parse(text)
			if err != nil {
				t.Fatal(err)
			}
			c.URIs = append(c.URIs, u)
		}
		return c
	}
	for name, c := range map[string]struct {
		certificate *x509.Certificate
		want        string
	}{
		"a URI":                       {certificate("x", "spiffe://fleet.example/varrow/planning"), "spiffe://fleet.example/varrow/planning"},
		"a common name":               {certificate("analyst-7"), "cn:analyst-7"},
		"another trust domain":        {certificate("x", "spiffe://other.example/varrow/planning"), ""},
		"a longer path":               {certificate("x", "spiffe://fleet.example/varrow/planning/more"), ""},
		"a URI beside a known name":   {certificate("analyst-7", "spiffe://other.example/x"), ""},
		"two URIs":                    {certificate("x", "spiffe://fleet.example/varrow/planning", "spiffe://fleet.example/b"), ""},
		"a name that is not known":    {certificate("analyst-8"), ""},
		"a name with another's start": {certificate("cn:analyst-7"), ""},
		"no name":                     {certificate(""), ""},
	} {
		who, err := g.Identify(inTLS(c.certificate))
		if who.Name != c.want || (err == nil) != (c.want != "") || err != nil && status.Code(err) != codes.Unauthenticated {
			t.Errorf("%s: %v %v", name, who, err)
		}
	}
	// A certificate that was shown but not verified is worth nothing.
	unverified := tls.ConnectionState{PeerCertificates: []*x509.Certificate{certificate("analyst-7")}}
	who, err := g.Identify(peer.NewContext(context.Background(), &peer.Peer{AuthInfo: credentials.TLSInfo{State: unverified}}))
	if err != nil || who.Name != "" {
		t.Errorf("not verified: %v %v", who, err)
	}
}

func TestThePage(t *testing.T) {
	const path = "../../deploy/ACCESS.md"
	have, err := os.ReadFile(path)
	if err != nil || string(have) != access.Document() {
		t.Errorf("%s is not what the table says (%v): go run ./server/cmd/bowrolld access > deploy/ACCESS.md", path, err)
	}
}

func TestCovers(t *testing.T) {
	s := grpc.NewServer()
	healthpb.RegisterHealthServer(s, health.NewServer())
	reflection.Register(s)
	if err := access.Covers(s); err != nil {
		t.Error(err)
	}
	s.RegisterService(&grpc.ServiceDesc{
		ServiceName: "bowroll.v1.Fireworks", HandlerType: (*any)(nil),
		Methods: []grpc.MethodDesc{{MethodName: "Light"}}, Streams: []grpc.StreamDesc{{StreamName: "Watch"}},
	}, nil)
	err := access.Covers(s)
	if err == nil || !strings.Contains(err.Error(), "Fireworks/Light, /bowroll.v1.Fireworks/Watch") {
		t.Error(err)
	}
}

func TestPagesOfTheAdminAddress(t *testing.T) {
	k := newKey(t, "one")
	g, _ := newGuard(t, newClock(), keySet(t, k.public()))
	page := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusOK) })
	for _, c := range []struct {
		what, grant string
		want        int
	}{
		{access.Metrics, "reader@varrow", 200}, {access.Metrics, "", 401}, {access.Metrics, "none", 403},
		{access.Profiles, "custodian@*", 200}, {access.Profiles, "custodian@varrow", 403}, {access.Profiles, "planner@*", 403}, {access.Profiles, "", 401},
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		if c.grant != "" {
			r.Header.Set("Authorization", "Bearer "+k.token(t, map[string]any{"bowroll": c.grant}))
		}
		w := httptest.NewRecorder()
		g.PermitHTTP(c.what, page).ServeHTTP(w, r)
		if w.Code != c.want || w.Code == 401 && w.Header().Get("WWW-Authenticate") != "Bearer" {
			t.Errorf("%s with %q: %d", c.what, c.grant, w.Code)
		}
	}
}
