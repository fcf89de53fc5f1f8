// Package card makes the launch card of a sortie from the service's answers.
//
// A [Card] is the description: SI numbers with the unit in every name, absent
// where there is none, the same on paper and as JSON. [Card.Page] sets it for
// paper, screen and text. The package computes no physics. What is missing is
// drawn as a dash or left to be written in by hand, and never as a zero; a card
// that lacks what safety needs is refused with its reasons, and its page then
// shows those and no number to launch on.
package card
