package server

import (
	"context"
	"slices"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Package is the protobuf package of the contract.
const Package = "bowroll.v1"

// Services are the parts that answer. One that is nil is not served.
type Services struct {
	Takeoffs   bowrollv1.TakeoffsServer
	WindLimits bowrollv1.WindLimitsServer
	Cycles     bowrollv1.CyclesServer
	Catalog    bowrollv1.CatalogServer
	Model      bowrollv1.ModelServer
	Stock      bowrollv1.StockServer
	Plans      bowrollv1.PlansServer

	Observations bowrollv1.ObservationsServer
	Sweeps       bowrollv1.SweepsServer
}

// register registers what there is, with gRPC and with the gateway.
func (s Services) register(ctx context.Context, grpcServer grpc.ServiceRegistrar, mux *runtime.ServeMux, conn *grpc.ClientConn) error {
	gateways := []func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error{}
	if s.Takeoffs != nil {
		bowrollv1.RegisterTakeoffsServer(grpcServer, s.Takeoffs)
		gateways = append(gateways, bowrollv1.RegisterTakeoffsHandler)
	}
	if s.WindLimits != nil {
		bowrollv1.RegisterWindLimitsServer(grpcServer, s.WindLimits)
		gateways = append(gateways, bowrollv1.RegisterWindLimitsHandler)
	}
	if s.Cycles != nil {
		bowrollv1.RegisterCyclesServer(grpcServer, s.Cycles)
		gateways = append(gateways, bowrollv1.RegisterCyclesHandler)
	}
	if s.Catalog != nil {
		bowrollv1.RegisterCatalogServer(grpcServer, s.Catalog)
		gateways = append(gateways, bowrollv1.RegisterCatalogHandler)
	}
	if s.Model != nil {
		bowrollv1.RegisterModelServer(grpcServer, s.Model)
		gateways = append(gateways, bowrollv1.RegisterModelHandler)
	}
	if s.Stock != nil {
		bowrollv1.RegisterStockServer(grpcServer, s.Stock)
		gateways = append(gateways, bowrollv1.RegisterStockHandler)
	}
	// Before the plans: a binding without a verb takes plans/noon:debrief for a name.
	if s.Observations != nil {
		bowrollv1.RegisterObservationsServer(grpcServer, s.Observations)
		gateways = append(gateways, bowrollv1.RegisterObservationsHandler)
	}
	if s.Plans != nil {
		bowrollv1.RegisterPlansServer(grpcServer, s.Plans)
		gateways = append(gateways, bowrollv1.RegisterPlansHandler)
	}
	if s.Sweeps != nil {
		bowrollv1.RegisterSweepsServer(grpcServer, s.Sweeps)
		gateways = append(gateways, bowrollv1.RegisterSweepsHandler)
	}
	// The library tries the binding made last first, one after the other: take-offs,
	// which are asked most, must not wait for all the rest.
	for _, gateway := range slices.Backward(gateways) {
		if err := gateway(ctx, mux, conn); err != nil {
			return err
		}
	}
	return nil
}

// Contract returns the descriptors of every service of the contract, in the
// order of their names.
func Contract() []protoreflect.ServiceDescriptor {
	var services []protoreflect.ServiceDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage(Package, func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			services = append(services, file.Services().Get(i))
		}
		return true
	})
	slices.SortFunc(services, func(a, b protoreflect.ServiceDescriptor) int {
		return strings.Compare(string(a.FullName()), string(b.FullName()))
	})
	return services
}
