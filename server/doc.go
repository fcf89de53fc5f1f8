// Package server puts the service together: the gRPC listener, the JSON gateway
// that reaches it over a connection in memory so that no interceptor is
// skipped, health, metrics and shutdown. What the services answer is in
// [bowroll/server/rpc]; what every call passes through on its way there is in
// [bowroll/server/intercept].
//
// [New] makes a server from its services; [Server.Run] serves until its context
// ends; [Server.Connect] gives a client of the same server without a network.
package server
