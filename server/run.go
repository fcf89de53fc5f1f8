package server

import (
	"context"
	"errors"
	"net"
	"net/http"
	"sync"
	"time"

	"go.uber.org/zap"
)

// Addresses are where a running server listens; empty where it does not.
type Addresses struct{ GRPC, HTTP, Admin string }

// Run listens and serves until ctx ends or a listener fails, then shuts down:
// it first says that it is not ready, then takes no new calls, waits up to the
// grace for those in hand, and ends the rest. Ready, where not nil, is called
// with the addresses once all are open. A shutdown asked for by ctx is no error.
func (s *Server) Run(ctx context.Context, ready func(Addresses)) error {
	open, err := s.listen()
	if err != nil {
		return errors.Join(err, s.Close())
	}
	failed := make(chan error, 3)
	var web []*http.Server
	if open.http != nil {
		web = append(web, s.serveHTTP(open.http, s.gateway, failed))
	}
	if open.admin != nil {
		web = append(web, s.serveHTTP(open.admin, adminHandler(s.config.Registry, s.config.Access), failed))
	}
	if open.grpc != nil {
		go func() { failed <- s.grpc.Serve(bounded(open.grpc, maxGRPCConnections)) }()
	}
	watched, stop := context.WithCancel(ctx)
	var watching sync.WaitGroup
	watching.Go(func() {
		ticker := time.NewTicker(probeEvery)
		defer ticker.Stop()
		s.store.watch(watched, ticker.C)
	})
	defer watching.Wait()
	defer stop()
	if ready != nil {
		ready(open.addresses())
	}
	select {
	case <-ctx.Done():
		err = nil
	case err = <-failed:
	}
	return errors.Join(err, s.shutdown(web))
}

// serveHTTP serves h on l with limits against slow and idle clients, encrypted
// where there are certificates. Clients' certificates are for gRPC alone: behind
// the gateway it is a token that says who calls.
func (s *Server) serveHTTP(l net.Listener, h http.Handler, failed chan<- error) *http.Server {
	server := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: s.config.Patience.Header,
		ReadTimeout:       s.config.Patience.Body,
		WriteTimeout:      s.config.Patience.Answer,
		IdleTimeout:       s.config.Patience.Idle,
		MaxHeaderBytes:    32 << 10,
		ErrorLog:          zap.NewStdLog(s.config.Log),
	}
	serve := server.Serve
	if s.config.Certificates != nil {
		server.TLSConfig = s.config.Certificates.Server(false, "h2", "http/1.1")
		serve = func(l net.Listener) error { return server.ServeTLS(l, "", "") }
	}
	go func() {
		if err := serve(bounded(l, maxConnections)); !errors.Is(err, http.ErrServerClosed) {
			failed <- err
		}
	}()
	return server
}

// shutdown ends the server gently, within the grace.
func (s *Server) shutdown(web []*http.Server) error {
	s.health.Shutdown()
	ctx, cancel := context.WithTimeout(context.Background(), s.config.Grace)
	defer cancel()
	var err error
	// The gateway first: what it has in hand still needs the gRPC server.
	for _, w := range web {
		if e := w.Shutdown(ctx); e != nil {
			err = errors.Join(err, w.Close())
		}
	}
	err = errors.Join(err, s.conn.Close())
	gentle := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(gentle)
	}()
	select {
	case <-gentle:
	case <-ctx.Done():
		s.grpc.Stop()
		<-gentle
	}
	<-s.served
	return err
}
