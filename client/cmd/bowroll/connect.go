package main

import (
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"

	"bowroll/client"
)

// reach is how long a named service may take to be reached.
const reach = 5 * time.Second

// connect reaches the service named, or starts one in this process.
func (p *program) connect() (*client.Client, error) {
	timeout := client.WithTimeout(p.line.Timeout)
	switch {
	case p.line.Store != "" && p.line.Server == "" && p.workers > 0:
		return client.InProcess(p.ctx, p.sweeping(p.line.Store, p.workers), timeout)
	case p.line.Server != "" && p.line.Store != "":
		return nil, badInput{errors.New("--server and --store are both given: the service named has a store of its own, so leave --store out")}
	case p.line.Store != "":
		return client.InProcess(p.ctx, p.over(p.line.Store, p.trust), timeout)
	case p.line.Server == "":
		return client.InProcess(p.ctx, p.start, timeout)
	}
	options := []client.Option{timeout}
	if p.line.CA != "" {
		secured, err := p.authority()
		if err != nil {
			return nil, err
		}
		options = append(options, client.WithTransportCredentials(secured))
	}
	c, err := client.Dial(p.line.Server, options...)
	if err != nil {
		return nil, badInput{fmt.Errorf("--server %s: %w; write host:port", p.line.Server, err)}
	}
	if err := c.Await(p.ctx, min(reach, p.line.Timeout)); err != nil {
		_ = c.Close()
		return nil, unreachable(p.line.Server, err)
	}
	return c, nil
}

// authority reads the certificates that the service's own is checked with.
func (p *program) authority() (credentials.TransportCredentials, error) {
	pem, err := os.ReadFile(p.line.CA)
	if err != nil {
		return nil, badInput{err}
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, badInput{fmt.Errorf("--ca %s holds no certificate in PEM form", p.line.CA)}
	}
	return credentials.NewClientTLSFromCert(pool, ""), nil
}

// unreachable says why a service could not be reached, and what to do.
func unreachable(server string, err error) error {
	r, ok := client.AsRefusal(err)
	if !ok || r.Code == codes.Canceled {
		return err
	}
	why := r.Message
	if _, dialing, found := strings.Cut(why, "while dialing: "); found {
		why = strings.TrimRight(dialing, `"`) // without the layers that gRPC wraps it in
	}
	return fmt.Errorf("no service answers at %s: %s\n  help: start one with bowrolld, or leave --server out to plan inside this program", server, why)
}
