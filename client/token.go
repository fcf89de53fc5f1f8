package client

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"
)

// WithToken sends a bearer token with every call, by which the service knows who
// calls; it goes before a certificate that [WithCertificate] shows. Source is asked
// for each call, by many goroutines at once, and gives the token alone, without
// "Bearer", so that a program may renew it; where it fails, the call is refused as
// UNAUTHENTICATED and nothing is sent.
//
// Whoever reads a token on its way can call with it, so it goes over TLS, to a
// loopback address or within this process only: [Dial] refuses it together with
// transport credentials that do not encrypt to anywhere else.
func WithToken(source func(context.Context) (string, error)) Option {
	return func(s *settings) { s.token = source }
}

// bearer is a token as gRPC sends it.
type bearer struct {
	source func(context.Context) (string, error)
	near   bool // what is sent does not leave this machine
}

// RequireTransportSecurity implements credentials.PerRPCCredentials.
func (b bearer) RequireTransportSecurity() bool { return !b.near }

// GetRequestMetadata implements credentials.PerRPCCredentials.
func (b bearer) GetRequestMetadata(ctx context.Context, _ ...string) (map[string]string, error) {
	token, err := b.source(ctx)
	switch {
	case ctx.Err() != nil:
		return nil, status.FromContextError(ctx.Err()).Err()
	case err != nil:
		return nil, status.Error(codes.Unauthenticated, "no token: "+err.Error())
	}
	if err := CheckToken(token); err != nil {
		return nil, status.Error(codes.Unauthenticated, err.Error())
	}
	return map[string]string{"authorization": "Bearer " + token}, nil
}

// CheckToken returns an error where a text cannot be a bearer token. It says nothing
// of what a token holds: that is between its issuer and the service.
func CheckToken(token string) error {
	if token == "" {
		return errors.New("the token is empty")
	}
	// RFC 6750, section 2.1: b64token.
	body := strings.TrimRight(token, "=")
	for i := range len(body) {
		c := body[i]
		switch {
		case 'a' <= c && c <= 'z', 'A' <= c && c <= 'Z', '0' <= c && c <= '9', strings.IndexByte("-._~+/", c) >= 0:
		default:
			return fmt.Errorf("the token has a character at position %d that no token has: letters, digits and -._~+/ with = at the end are allowed; give the token alone, without \"Bearer\"", i+1)
		}
	}
	if body == "" {
		return errors.New("the token is nothing but =")
	}
	return nil
}

// overheard returns an error where a token would go to target for others to read.
func overheard(target string, c credentials.TransportCredentials) error {
	if onLoopback(target) || c.Info().SecurityProtocol != "insecure" {
		return nil
	}
	return fmt.Errorf("the token would go to %s in the clear, where others can read it: leave out the transport credentials, so that it goes over TLS (WithAuthorities says who signed the service's certificate), or name a loopback address", target)
}

// with adds the token, if there is one, to the options of a call.
func (b bearer) with(options []grpc.CallOption) []grpc.CallOption {
	if b.source == nil {
		return options
	}
	return append([]grpc.CallOption{grpc.PerRPCCredentials(b)}, options...)
}
