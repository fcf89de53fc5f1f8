package main

import (
	"context"

	"google.golang.org/grpc"

	"bowroll/server/assembly"
)

// startHere starts a service in this process with its built-in catalog.
func startHere(ctx context.Context) (*grpc.ClientConn, func(), error) {
	return assembly.InProcess(ctx)
}
