// Package access decides who may do what, where. Callers identify themselves
// with a token that an issuer signed or with a client certificate; either gives
// them grants, a role at a site. [Table] says what each method needs, and from
// it come the check ([Guard.Permit]), the refusal to start with a method that
// it lacks ([Covers]) and the documentation ([Document]). What is not permitted
// there is denied.
package access
