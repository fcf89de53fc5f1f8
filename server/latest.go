package server

import (
	"context"

	"google.golang.org/grpc"
)

// latest registers services whose calls are answered by the newest instance: each
// call takes the services as they are when it comes in, and keeps to them to its
// end, so that one answer never mixes two states of the catalog.
type latest struct {
	grpc.ServiceRegistrar
	services func() Services
}

// RegisterService registers a service. impl stands in where there is no newer one.
func (l latest) RegisterService(desc *grpc.ServiceDesc, impl any) {
	newest := func() any {
		if now := l.services().named(desc.ServiceName); now != nil {
			return now
		}
		return impl
	}
	own := *desc
	own.Methods = make([]grpc.MethodDesc, len(desc.Methods))
	for i, m := range desc.Methods {
		own.Methods[i] = grpc.MethodDesc{MethodName: m.MethodName, Handler: func(_ any, ctx context.Context, decode func(any) error, interceptor grpc.UnaryServerInterceptor) (any, error) {
			return m.Handler(newest(), ctx, decode, interceptor)
		}}
	}
	own.Streams = make([]grpc.StreamDesc, len(desc.Streams))
	for i, s := range desc.Streams {
		own.Streams[i] = s
		own.Streams[i].Handler = func(_ any, stream grpc.ServerStream) error { return s.Handler(newest(), stream) }
	}
	l.ServiceRegistrar.RegisterService(&own, impl)
}

// named is the service of a full name, nil where it is not served.
func (s Services) named(service string) any {
	switch service {
	case Package + ".Takeoffs":
		return s.Takeoffs
	case Package + ".WindLimits":
		return s.WindLimits
	case Package + ".Cycles":
		return s.Cycles
	case Package + ".Catalog":
		return s.Catalog
	case Package + ".Model":
		return s.Model
	case Package + ".Stock":
		return s.Stock
	case Package + ".Plans":
		return s.Plans
	case Package + ".Observations":
		return s.Observations
	case Package + ".Sweeps":
		return s.Sweeps
	}
	return nil
}
