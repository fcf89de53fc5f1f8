// Package catalog reads the data that ships have in common: aircraft types,
// booster types, sites and decks.
//
// A catalog is a folder of YAML files, read once at start-up and whole or not
// at all. A file holds any of four lists, each item written with the field
// names of the contract's message of that kind, in SI:
//
//	aircraft_types: [AircraftType ...]
//	booster_types:  [BoosterType ...]
//	sites:          [Site ...]
//	decks:          [Deck ...]
//
// Reading is strict. Unknown and repeated keys, numbers in quotes, text that is
// not in quotes but reads as a number, anchors, tags and second documents are
// faults, as is everything that the contract's own rules and the rules of this
// package ([CheckAircraftType] and its like) refuse. [Load] reports every fault
// of every file at once, each with its place.
//
// What was read is a [Snapshot]: it never changes, and its revision is a digest
// over its content in canonical form, so that two ships with the same data name
// it the same, whatever their files are called and however they are laid out.
package catalog
