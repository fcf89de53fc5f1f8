// Package rpc answers the contract's services, one file to a service: a request
// comes in, the model in perf is called, a response goes out.
//
// Every case goes through [resolver.resolve], which turns names into data and
// collects every fault at once: those of the contract's own rules and those that
// only the data can tell. Nothing here reads a clock or depends on the order of
// a map, so that the same request gives the same bytes on every ship.
package rpc
