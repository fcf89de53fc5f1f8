package server

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.opentelemetry.io/otel/trace"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/test/bufconn"

	"bowroll/server/access"
	"bowroll/server/certs"
	"bowroll/server/intercept"
	"bowroll/server/refusal"
)

// Config is what a server is made of beside its services.
type Config struct {
	// GRPCAddress and HTTPAddress are listened on, e.g. "127.0.0.1:8471"; empty
	// means not at all.
	GRPCAddress, HTTPAddress string
	// AdminAddress serves metrics and profiles; empty means not at all.
	AdminAddress string
	// Reflection lets callers ask the gRPC listener for the contract.
	Reflection bool
	// Origins are the origins that browsers may call the gateway from, e.g.
	// "https://plans.example"; there is no wildcard.
	Origins []string
	// Patience is how long the gateway waits for callers that are slow.
	Patience Patience
	// Grace is how long calls in hand may take to end at shutdown.
	Grace time.Duration
	// Cores is how many computations may run at once, at least 1.
	Cores int
	// Log gets one line a call. Required.
	Log *zap.Logger
	// NewID makes request ids. Required.
	NewID func() string
	// Screen holds requests against the contract. Required.
	Screen *refusal.Screen
	// Registry takes the metrics. Required.
	Registry *prometheus.Registry
	// Traces takes the spans of calls; nil means that none are made.
	Traces trace.TracerProvider
	// Certificates encrypt every listener; nil leaves all as they are.
	Certificates *certs.Store
	// Access decides who may call; nil lets everyone who reaches a listener.
	Access *access.Guard
	// Quota bounds what one caller may ask; its zero value bounds nothing.
	Quota intercept.Quota
	// StoreProbe asks the store for a sign of life; nil where there is no store.
	StoreProbe func(context.Context) error
	// Pressure tells how much there is to do, which the limits of calls in hand
	// follow; the runtime's own measure unless given.
	Pressure intercept.Pressure
	// Latest returns the services as they are now, where they change while serving,
	// e.g. with the catalog; it is asked for each call. Nil keeps the first.
	Latest func() Services
	// Pages, where given, makes the pages for people that the HTTP address serves
	// beside the JSON service. They reach the service over the connection, as any
	// client does; it is closed with the server.
	Pages func(*grpc.ClientConn) (http.Handler, error)
	// Now is the clock that quotas and limits go by; the wall clock unless given.
	Now func() time.Time
}

// Server is a server that is ready to run. Make one with [New] and end it with
// [Server.Close] or by ending the context of [Server.Run].
type Server struct {
	config  Config
	grpc    *grpc.Server
	health  *health.Server
	inside  *bufconn.Listener
	conn    *grpc.ClientConn
	gateway http.Handler
	store   *storeHealth
	// served ends when the connection in memory is no longer served.
	served chan struct{}
}

// New puts a server together and starts it on its connection in memory; it
// listens on no address before [Server.Run].
func New(config Config, services Services) (*Server, error) {
	config.Cores = max(1, config.Cores)
	if config.Now == nil {
		config.Now = time.Now
	}
	config.Patience = config.Patience.filled()
	if config.Pressure == nil {
		config.Pressure = intercept.SchedulerPressure()
	}
	metrics, err := intercept.NewMetrics(config.Registry)
	if err != nil {
		return nil, err
	}
	solved, err := newSolved(config.Registry)
	if err != nil {
		return nil, err
	}
	methods := classes(config.Cores)
	chain := intercept.Chain{
		Log: config.Log, NewID: config.NewID, Classes: methods, Screen: config.Screen, Metrics: metrics,
		Access: config.Access, Quota: config.Quota, Pressure: config.Pressure, Least: config.Cores, Answered: solved.answered, Now: config.Now,
	}
	interceptors, places := chain.ServerOptions()
	traces := tracing{config.Traces}
	s := &Server{
		config: config,
		grpc:   grpc.NewServer(slices.Concat(TransportOptions(), traces.served(), encryption(config.Certificates), interceptors)...),
		health: health.NewServer(),
		inside: bufconn.Listen(256 << 10),
		served: make(chan struct{}),
	}
	if s.conn, err = s.connect(traces.asked()...); err != nil {
		return nil, err
	}
	gateway, err := newGateway(s.conn, config.Origins, s.health, places, config.Screen, config.Patience.Line)
	if err != nil {
		return nil, errors.Join(err, s.conn.Close())
	}
	if config.Pages != nil {
		people, err := config.Pages(s.conn)
		if err != nil {
			return nil, errors.Join(err, s.conn.Close())
		}
		gateway.handler = withPages(people, gateway.handler)
	}
	var registrar grpc.ServiceRegistrar = s.grpc
	if config.Latest != nil {
		registrar = latest{s.grpc, config.Latest}
	}
	if err := services.register(context.Background(), registrar, gateway.mux, s.conn); err != nil {
		return nil, errors.Join(err, s.conn.Close())
	}
	if err := errors.Join(methods.Covers(s.grpc, Package), gateway.streams(s.grpc)); err != nil {
		return nil, errors.Join(err, s.conn.Close())
	}
	if s.store, err = newStoreHealth(config, s.health); err != nil {
		return nil, errors.Join(err, s.conn.Close())
	}
	if services.Model != nil {
		if err := config.Registry.Register(newModelChecks(services.Model)); err != nil {
			return nil, errors.Join(err, s.conn.Close())
		}
	}
	for service := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(service, healthpb.HealthCheckResponse_SERVING)
	}
	if s.gateway, err = observed(config.Registry, config.Log, traces.requests(gateway)); err != nil {
		return nil, errors.Join(err, s.conn.Close())
	}
	healthpb.RegisterHealthServer(s.grpc, s.health)
	if config.Reflection {
		reflection.Register(s.grpc)
	}
	if err := access.Covers(s.grpc); err != nil {
		return nil, errors.Join(err, s.conn.Close())
	}
	go func() {
		defer close(s.served)
		// It ends when the server stops, which is no error.
		_ = s.grpc.Serve(s.inside)
	}()
	return s, nil
}

// TransportOptions bound what one connection may take.
func TransportOptions() []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.MaxRecvMsgSize(MaxRequestBytes),
		grpc.MaxSendMsgSize(MaxAnswerBytes),
		grpc.MaxConcurrentStreams(256),
		// Calls run on goroutines kept for them, whose stacks have grown already; a
		// call that finds none free gets one of its own.
		grpc.NumStreamWorkers(64),
		grpc.ConnectionTimeout(10 * time.Second),
		grpc.MaxHeaderListSize(32 << 10),
		grpc.KeepaliveParams(keepalive.ServerParameters{
			MaxConnectionAge: 30 * time.Minute, MaxConnectionAgeGrace: time.Minute,
			Time: time.Minute, Timeout: 20 * time.Second,
		}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 20 * time.Second}),
	}
}

// encryption is that of connections from the network, where there are
// certificates.
func encryption(certificates *certs.Store) []grpc.ServerOption {
	if certificates == nil {
		return nil
	}
	network := credentials.NewTLS(certificates.Server(true, "h2"))
	return []grpc.ServerOption{grpc.Creds(newInsideOut(network))}
}

// Connect returns a new connection to the server that needs no network. Every
// interceptor runs as for any caller. The caller closes it.
func (s *Server) Connect() (*grpc.ClientConn, error) { return s.connect() }

func (s *Server) connect(more ...grpc.DialOption) (*grpc.ClientConn, error) {
	return grpc.NewClient("passthrough:///in-memory", append(more,
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return s.inside.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(MaxAnswerBytes), grpc.MaxCallSendMsgSize(MaxRequestBytes)))...)
}

// Handler is the JSON gateway.
func (s *Server) Handler() http.Handler { return s.gateway }

// Close ends the server at once: calls in hand fail.
func (s *Server) Close() error {
	s.health.Shutdown()
	err := s.conn.Close()
	s.grpc.Stop()
	<-s.served
	return err
}

// listeners are the open addresses of a server; nil where it has none.
type listeners struct{ grpc, http, admin net.Listener }

// listen opens every address of the configuration, or none.
func (s *Server) listen() (listeners, error) {
	var open listeners
	for _, l := range []struct {
		address string
		to      *net.Listener
	}{{s.config.GRPCAddress, &open.grpc}, {s.config.HTTPAddress, &open.http}, {s.config.AdminAddress, &open.admin}} {
		if l.address == "" {
			continue
		}
		var err error
		if *l.to, err = net.Listen("tcp", l.address); err != nil {
			return listeners{}, errors.Join(fmt.Errorf("listening on %s: %w", l.address, err), open.close())
		}
	}
	return open, nil
}

func (l listeners) close() error {
	var err error
	for _, one := range []net.Listener{l.grpc, l.http, l.admin} {
		if one != nil {
			err = errors.Join(err, one.Close())
		}
	}
	return err
}

// addresses says where the listeners are.
func (l listeners) addresses() Addresses {
	text := func(one net.Listener) string {
		if one == nil {
			return ""
		}
		return one.Addr().String()
	}
	return Addresses{GRPC: text(l.grpc), HTTP: text(l.http), Admin: text(l.admin)}
}
