package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"google.golang.org/grpc/codes"

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
	options, err := p.secured()
	if err != nil {
		return nil, err
	}
	c, err := client.Dial(p.line.Server, append(options, timeout)...)
	if err != nil {
		return nil, badInput{fmt.Errorf("--server %s: %w; write host:port", p.line.Server, err)}
	}
	if err := c.Await(p.ctx, min(reach, p.line.Timeout)); err != nil {
		_ = c.Close()
		return nil, p.unreachable(err)
	}
	return c, nil
}

// unreachable says why a service could not be reached, and what to do.
func (p *program) unreachable(err error) error {
	r, ok := client.AsRefusal(err)
	if !ok || r.Code == codes.Canceled {
		return err
	}
	why := r.Message
	if _, dialing, found := strings.Cut(why, "while dialing: "); found {
		why = strings.TrimRight(dialing, `"`) // without the layers that gRPC wraps it in
	}
	why = strings.TrimPrefix(why, "latest balancer error: ")
	help := "start one with bowrolld, or leave --server out to plan inside this program"
	switch {
	case strings.Contains(why, "produced zero addresses"):
		why, help = "no address is known by that name", "check the name; it is written HOST:PORT"
	case strings.Contains(why, "looked like an HTTP/1.1 header"):
		why, help = "it answers JSON and pages, not gRPC", "name the address that bowrolld listens on for gRPC, port 8471 unless it was told another"
	case strings.Contains(why, "x509: "):
		help = "name who signed the service's certificate with --ca"
	case strings.Contains(why, "first record does not look like a TLS handshake"):
		help = "what answers there does not encrypt, which is for loopback alone: bowrolld needs --tls-certificate and --tls-key"
	case p.line.ClientCertificate != "":
		help = "is it running, and does it take what the authority of --client-certificate signed?"
	}
	return fmt.Errorf("no service answers at %s: %s\n  help: %s", p.line.Server, why, help)
}
