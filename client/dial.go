package client

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"
)

// maxReceive is the longest answer taken, the longest that the service sends.
const maxReceive = 4 << 20

// serviceConfig retries calls that the service could not be reached for: three
// attempts in all, backing off from 0.1 s to 1 s, and fewer where many fail.
// A repeat does nothing twice: every method named here only reads, or must carry a
// request_id under which the service remembers what it answered.
const serviceConfig = `{
  "methodConfig": [{
    "name": [
      {"service": "bowroll.v1.Takeoffs"},
      {"service": "bowroll.v1.WindLimits"},
      {"service": "bowroll.v1.Cycles"},
      {"service": "bowroll.v1.Catalog"},
      {"service": "bowroll.v1.Model"},
      {"service": "bowroll.v1.Plans"},
      {"service": "bowroll.v1.Stock"}
    ],
    "retryPolicy": {
      "maxAttempts": 3,
      "initialBackoff": "0.1s",
      "maxBackoff": "1s",
      "backoffMultiplier": 2,
      "retryableStatusCodes": ["UNAVAILABLE"]
    }
  }],
  "retryThrottling": {"maxTokens": 10, "tokenRatio": 0.1}
}`

// An Option changes how a client connects or calls.
type Option func(*settings)

type settings struct {
	timeout     func(method string) time.Duration
	credentials credentials.TransportCredentials
	authorities *x509.CertPool
	certificate *tls.Certificate
	token       func(context.Context) (string, error)
	dial        []grpc.DialOption
}

func gather(options []Option) settings {
	s := settings{timeout: patience}
	for _, o := range options {
		o(&s)
	}
	return s
}

// WithTimeout sets the deadline of unary calls whose context has none. Without
// it reading calls get 5 s and computing ones 35 s, a little more than the
// service takes at most, so that its own answer comes first.
func WithTimeout(timeout time.Duration) Option {
	return func(s *settings) { s.timeout = func(string) time.Duration { return timeout } }
}

// WithAuthorities sets who must have signed the service's certificate, in place of
// those that this machine trusts. With it a loopback address is reached over TLS
// too.
func WithAuthorities(pool *x509.CertPool) Option {
	return func(s *settings) { s.authorities = pool }
}

// WithCertificate shows a certificate with its key to the service, which knows by
// it who calls. With it a loopback address is reached over TLS too.
func WithCertificate(c tls.Certificate) Option {
	return func(s *settings) { s.certificate = &c }
}

// WithTransportCredentials sets how the connection is secured, whatever
// [WithAuthorities] and [WithCertificate] say. Without any of the three a loopback
// address is reached in the clear and any other over TLS with the certificates
// that this machine trusts.
func WithTransportCredentials(c credentials.TransportCredentials) Option {
	return func(s *settings) { s.credentials = c }
}

// WithDialOptions adds options of gRPC's own, e.g. interceptors that measure.
func WithDialOptions(options ...grpc.DialOption) Option {
	return func(s *settings) { s.dial = append(s.dial, options...) }
}

// Dial prepares a connection to the service at target, host:port or any name
// that gRPC resolves. The connection itself is made by the first call, or by
// [Client.Await]; an error here means that the target cannot be one, or that a token
// would go to it in the clear.
func Dial(target string, options ...Option) (*Client, error) {
	s, near := gather(options), onLoopback(target)
	if s.credentials == nil {
		s.credentials = s.secured(near)
	}
	if s.token != nil {
		if err := overheard(target, s.credentials); err != nil {
			return nil, err
		}
	}
	conn, err := grpc.NewClient(target, append([]grpc.DialOption{
		grpc.WithTransportCredentials(s.credentials),
		grpc.WithDefaultServiceConfig(serviceConfig),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxReceive)),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
	}, s.dial...)...)
	if err != nil {
		return nil, err
	}
	return newClient(conn, s, near, conn.Close), nil
}

// secured is how a connection is secured where nothing else is said.
func (s *settings) secured(near bool) credentials.TransportCredentials {
	if near && s.authorities == nil && s.certificate == nil {
		return insecure.NewCredentials()
	}
	config := &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: s.authorities}
	if s.certificate != nil {
		// Shown whoever the service says it takes certificates from: without this one
		// that it does not name would be kept back, and the refusal say nothing of it.
		config.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return s.certificate, nil }
	}
	return credentials.NewTLS(config)
}

// onLoopback reports whether a target can only be this machine.
func onLoopback(target string) bool {
	host, _, err := net.SplitHostPort(target)
	if err != nil {
		host = target
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}
