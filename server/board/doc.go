// Package board serves pages for people: a launch cycle from its file to its
// cards, the plans that a site keeps, wind limits, stock, observed runs and the
// checks of the model.
//
// The board is a client. It calls the service over a connection, with the
// identity of whoever looks, and every interceptor runs as for any caller; it
// computes nothing, keeps no stock or plan of its own, and draws what it is
// answered with client/sheet. What it does keep, in memory and for two hours at
// most, is a plan being worked on or just answered.
//
// Every page works without script. The one script there is shows how far a plan
// is while it is worked on, and says plainly when the connection is lost.
package board
