package access

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// Role is what a caller may do. Every other role includes Reader and no more.
type Role string

// The roles.
const (
	// Reader reads everything and computes without keeping.
	Reader Role = "reader"
	// Planner plans cycles, keeps plans and moves them on.
	Planner Role = "planner"
	// Armament receives, moves, counts and suspends stock.
	Armament Role = "armament"
	// Custodian keeps the model and copies of logs, and looks inside the service.
	Custodian Role = "custodian"
)

// Roles returns every role.
func Roles() []Role { return []Role{Reader, Planner, Armament, Custodian} }

// Includes says whether whoever holds r may do what needs need.
func (r Role) Includes(need Role) bool {
	return r == need || need == Reader && slices.Contains(Roles(), r)
}

// EverySite stands for every site in a grant.
const EverySite = "*"

// Grant is a role at one site, or at [EverySite].
type Grant struct {
	Role Role
	Site string
}

// String is the grant as it is written: planner@varrow.
func (g Grant) String() string { return string(g.Role) + "@" + g.Site }

var siteID = regexp.MustCompile(`^[a-z][a-z0-9-]{0,62}$`)

// ParseGrant reads "planner@varrow" or "reader@*".
func ParseGrant(text string) (Grant, error) {
	role, site, found := strings.Cut(text, "@")
	g := Grant{Role(role), site}
	switch {
	case !found:
		return Grant{}, fmt.Errorf("%q: must be role@site, e.g. planner@varrow, or role@* for every site", text)
	case !slices.Contains(Roles(), g.Role):
		return Grant{}, fmt.Errorf("%q: the role must be one of %v", text, Roles())
	case site != EverySite && !siteID.MatchString(site):
		return Grant{}, fmt.Errorf("%q: the site must be an id such as varrow, or *", text)
	}
	return g, nil
}

// Identity is a caller that is known.
type Identity struct {
	// Name is who it is: the subject of a token, the name in a certificate.
	Name string
	// Grants is what it may do.
	Grants []Grant
}

// May says whether the identity holds a role at a site; at any site where site
// is "", at every one where it is [EverySite].
func (i Identity) May(need Role, site string) bool {
	return slices.ContainsFunc(i.Grants, func(g Grant) bool {
		return g.Role.Includes(need) && (site == "" || g.Site == EverySite || g.Site == site)
	})
}
