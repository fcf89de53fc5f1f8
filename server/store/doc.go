// Package store keeps what must not be lost or promised twice: the stock of
// each site, the plans that draw on it, the answers already given to requests,
// and the revisions of the catalog.
//
// # Sites
//
// A site owns the stock that it physically holds, and every key begins with
// the site: each method of [Store] takes one, and a transaction is bound to the
// one it was opened for. There is no method that reads or writes across sites.
//
// # The log and its fold
//
// Every change is a [Movement]: one entry of the site's log, numbered from 1
// without gaps and chained to the entry before it by a hash. Lots, units and
// reservations are the fold of the log ([Fold]); the tables that hold them are
// there so that nobody has to fold. Entries are never changed or removed, not
// even by hand: the schema refuses it. Nothing is ordered by clock.
//
// # Writing
//
// [Store.Update] runs one change in one transaction. A change either happens
// whole and is durable when Update returns nil, or leaves no trace. Requests
// carry an id; the answer to it is kept in the same transaction, so that the
// same request sent again gets the first answer and changes nothing.
//
// # Rules
//
// This package says what a state is and which event leads where ([Next]).
// Package ledger, below it, holds the rules of the stock and of plans; the
// backends in sqlite and postgres only keep rows, and pass one suite
// (package storetest).
//
// Times come in as arguments and are kept to the microsecond, in UTC.
package store
