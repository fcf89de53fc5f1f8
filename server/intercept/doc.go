// Package intercept is what every call passes through on its way to a service,
// whichever transport it came by. From the outside in:
//
//	identify   a request id, taken from the caller or made, and sent back
//	observe    one log line and one count a call, with code and duration
//	settle     every error in the one form of package refusal, the unknown hidden
//	recover    a panic becomes an internal error and is counted
//	authorize  who calls, and whether they may
//	quota      a caller that asks too much is refused and told when to ask again
//	admit      a call beyond what is taken on at once is refused at once
//	bound      a deadline no later than the kind of call is given
//	screen     size, then the contract's rules over the request
package intercept
