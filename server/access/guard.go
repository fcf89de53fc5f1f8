package access

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/protobuf/proto"

	"bowroll/server/refusal"
)

// Reasons of refusals, part of the contract.
const (
	ReasonUnauthenticated = "UNAUTHENTICATED"
	ReasonDenied          = "DENIED"
	ReasonKeysNotRead     = "KEYS_NOT_READ"
)

// Guard decides who may call what. Make one with [New].
type Guard struct {
	issuers      map[string]*issuer
	certificates map[string][]Grant
	table        map[string]Need
	algorithms   []jose.SignatureAlgorithm
	now          func() time.Time
	proven       proven
	denied       *prometheus.CounterVec
}

// New makes a guard and registers its metrics. Now is the wall clock. No keys
// are read before [Guard.Refresh].
func New(config Config, now func() time.Time, registry prometheus.Registerer) (*Guard, error) {
	if err := config.check(); err != nil {
		return nil, err
	}
	g := &Guard{
		issuers: map[string]*issuer{}, certificates: map[string][]Grant{}, table: Table(), algorithms: algorithms(), now: now,
		denied: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "bowroll_access_denied_total", Help: "Calls denied, by reason: identity, role or site.",
		}, []string{"reason"}),
	}
	for _, c := range config.Issuers {
		g.issuers[c.Issuer] = &issuer{IssuerConfig: c, keys: newKeys(c.Keys, now)}
	}
	for name, texts := range config.Certificates {
		for _, text := range texts {
			grant, err := ParseGrant(text)
			if err != nil {
				return nil, err
			}
			g.certificates[name] = append(g.certificates[name], grant)
		}
	}
	return g, errors.Join(registry.Register(g.denied), registry.Register(keyAges{g}))
}

// Refresh reads every issuer's keys once.
func (g *Guard) Refresh(ctx context.Context) error {
	var faults []error
	for _, i := range g.issuers {
		faults = append(faults, i.keys.refresh(ctx))
	}
	return errors.Join(faults...)
}

// ReadFiles reads the keys that are in files, without which there is no point in
// serving; those that issuers serve may come later.
func (g *Guard) ReadFiles(ctx context.Context) error {
	var faults []error
	for _, i := range g.issuers {
		if i.keys.client == nil {
			faults = append(faults, i.keys.refresh(ctx))
		}
	}
	return errors.Join(faults...)
}

// Watch reads keys again until ctx ends; faults go to fault.
func (g *Guard) Watch(ctx context.Context, fault func(error)) {
	var all sync.WaitGroup
	for _, i := range g.issuers {
		all.Go(func() { i.keys.watch(ctx, fault) })
	}
	all.Wait()
}

// Identify says who calls, by the token that the call carries or else by the
// certificate of its connection. A call with neither is nobody's, which is no
// error: [Guard.Permit] decides. A token that does not hold is an error even
// where the certificate would do.
func (g *Guard) Identify(ctx context.Context) (Identity, error) {
	if sent := metadata.ValueFromIncomingContext(ctx, "authorization"); len(sent) > 0 {
		if len(sent) > 1 {
			return Identity{}, g.unauthenticated("authorization is given more than once")
		}
		return g.bearer(sent[0])
	}
	if p, ok := peer.FromContext(ctx); ok {
		if info, ok := p.AuthInfo.(credentials.TLSInfo); ok && len(info.State.VerifiedChains) > 0 {
			return g.certified(info.State.VerifiedChains[0][0])
		}
	}
	return Identity{}, nil
}

// bearer reads the value of an Authorization header.
func (g *Guard) bearer(value string) (Identity, error) {
	scheme, token, found := strings.Cut(value, " ")
	if !found || !strings.EqualFold(scheme, "bearer") {
		return Identity{}, g.unauthenticated("authorization must be Bearer and a token")
	}
	who, err := g.identify(strings.TrimSpace(token))
	if errors.Is(err, errNotReady) {
		return Identity{}, refusal.Because(codes.Unavailable, ReasonKeysNotRead, err.Error(), nil, nil)
	}
	if err != nil {
		return Identity{}, g.unauthenticated(err.Error())
	}
	return who, nil
}

// certified is whom a verified certificate stands for.
func (g *Guard) certified(c *x509.Certificate) (Identity, error) {
	name := "cn:" + c.Subject.CommonName
	switch len(c.URIs) {
	case 0:
	case 1:
		name = c.URIs[0].String()
	default:
		return Identity{}, g.unauthenticated("the certificate names more than one URI")
	}
	grants, known := g.certificates[name]
	if !known {
		return Identity{}, g.unauthenticated("the name in the certificate is not known here")
	}
	return Identity{Name: name, Grants: grants}, nil
}

// Permit returns nil where who may call method with the request m, and else the
// refusal. With m nil, as when a stream begins, only what no request could
// change is decided.
func (g *Guard) Permit(who Identity, method string, m proto.Message) error {
	need, listed := g.table[method]
	if need.Open {
		return nil
	}
	if who.Name == "" {
		return g.unauthenticated("this call needs a token (authorization: Bearer …) or a client certificate")
	}
	site, what := "", fmt.Sprintf("%s needs the role %s", strings.TrimPrefix(method, "/"), need.Role)
	switch {
	case !listed:
		return g.deny("role", strings.TrimPrefix(method, "/")+" is served to nobody", nil)
	case need.Scope == Fleet:
		site, what = EverySite, what+" at every site"
	case need.Scope == AtSite && m != nil:
		// A name that is none belongs to no site: only who holds the role
		// everywhere gets to hear what is wrong with it.
		if site = siteOf(m); site == "" {
			site, what = EverySite, what+" at the site that name or parent must begin with, sites/{site}"
		} else {
			what += " at site " + site
		}
	}
	if who.May(need.Role, site) {
		return nil
	}
	reason := "role"
	if who.May(need.Role, "") {
		reason = "site"
	}
	return g.deny(reason, what, map[string]string{"role": string(need.Role), "site": site})
}

// PermitHTTP guards a handler that is no part of the contract with the need of
// the table's entry what.
func (g *Guard) PermitHTTP(what string, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var who Identity
		var err error
		if sent := r.Header.Get("Authorization"); sent != "" {
			who, err = g.bearer(sent)
		}
		if err == nil {
			err = g.Permit(who, what, nil)
		}
		if err == nil {
			next.ServeHTTP(w, r)
			return
		}
		status := http.StatusForbidden
		if refusal.Reason(err) != ReasonDenied {
			w.Header().Set("WWW-Authenticate", "Bearer")
			status = http.StatusUnauthorized
		}
		http.Error(w, refusal.Status(err).GetMessage(), status)
	})
}

func (g *Guard) unauthenticated(why string) error {
	g.denied.WithLabelValues("identity").Inc()
	return refusal.Because(codes.Unauthenticated, ReasonUnauthenticated, why, nil, nil)
}

func (g *Guard) deny(reason, why string, metadata map[string]string) error {
	g.denied.WithLabelValues(reason).Inc()
	return refusal.Because(codes.PermissionDenied, ReasonDenied, "denied: "+why, metadata, nil)
}

// keyAges says when each issuer's keys were last read.
type keyAges struct{ guard *Guard }

func (k keyAges) desc() *prometheus.Desc {
	return prometheus.NewDesc("bowroll_access_keys_read_timestamp_seconds", "When an issuer's keys were last read.", []string{"issuer"}, nil)
}

// Describe implements prometheus.Collector.
func (k keyAges) Describe(out chan<- *prometheus.Desc) { out <- k.desc() }

// Collect implements prometheus.Collector.
func (k keyAges) Collect(out chan<- prometheus.Metric) {
	for name, i := range k.guard.issuers {
		seconds := 0.0
		if set := i.keys.set.Load(); set != nil {
			seconds = float64(set.read.Unix())
		}
		out <- prometheus.MustNewConstMetric(k.desc(), prometheus.GaugeValue, seconds, name)
	}
}
