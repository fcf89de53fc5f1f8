package board

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"net"
	"net/http"
	"strings"

	"google.golang.org/grpc/metadata"

	"bowroll/client"
	"bowroll/perf/quantity"
	"bowroll/server/access"
)

// Cookies of the board. The session is a random word that ties forms to the
// browser they were sent to; the token is what the visitor proves itself by.
const (
	sessionCookie = "bowroll-session"
	tokenCookie   = "bowroll-token"
	lookCookie    = "bowroll-look"
	unitsCookie   = "bowroll-units"
)

// longestToken is as much as browsers keep in a cookie, with room for its name.
const longestToken = 3800

// A visitor is whoever looks at a page.
type visitor struct {
	who     access.Identity
	token   string
	session string
	look    string // day, night or "" for what the screen asks for
	units   quantity.System
	address string
	path    string
	asked   bool // whether anybody is asked who they are here
}

// signedIn says whether the visitor is known, where that is asked.
func (v *visitor) signedIn() bool { return !v.asked || v.who.Name != "" }

// may says whether the service would let the visitor call a method; site is ""
// for what is not done at one.
func (v *visitor) may(method, site string) bool {
	if !v.asked {
		return true
	}
	need, listed := access.Table()[method]
	switch {
	case !listed:
		return false
	case need.Open:
		return true
	case need.Scope == access.Fleet:
		site = access.EverySite
	case need.Scope == access.Anywhere:
		site = ""
	}
	return v.who.May(need.Role, site)
}

// context carries the visitor's identity to the service.
func (v *visitor) context(ctx context.Context) context.Context {
	pairs := []string{"x-forwarded-for", v.address}
	if v.token != "" {
		pairs = append(pairs, "authorization", "Bearer "+v.token)
	}
	return metadata.AppendToOutgoingContext(ctx, pairs...)
}

// form is the word that a form sent by this visitor must carry. No other site
// can know it: it follows from the session, which scripts cannot read.
func (v *visitor) form() string {
	mac := hmac.New(sha256.New, []byte(v.session))
	mac.Write([]byte("form"))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// cookieName is the name of a cookie; where the connection is encrypted browsers
// keep it to this host.
func cookieName(r *http.Request, name string) string {
	if r.TLS != nil {
		return "__Host-" + name
	}
	return name
}

func setCookie(w http.ResponseWriter, r *http.Request, name, value string, seconds int) {
	http.SetCookie(w, &http.Cookie{Name: cookieName(r, name), Value: value, Path: "/", MaxAge: seconds,
		HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode})
}

func cookie(r *http.Request, name string) string {
	c, err := r.Cookie(cookieName(r, name))
	if err != nil {
		return ""
	}
	return c.Value
}

// newSession gives the browser a session of its own.
func newSession(w http.ResponseWriter, r *http.Request) string {
	id := rand.Text()
	setCookie(w, r, sessionCookie, id, 0)
	return id
}

// visitor reads who looks. A token that no longer holds is an error beside the
// visitor, who is then nobody.
func (b *board) visitor(w http.ResponseWriter, r *http.Request) (*visitor, error) {
	v := &visitor{asked: b.Access != nil, session: cookie(r, sessionCookie), units: quantity.Trade, path: r.URL.Path}
	if len(v.session) != len(rand.Text()) {
		v.session = newSession(w, r)
	}
	if look := cookie(r, lookCookie); look == "day" || look == "night" {
		v.look = look
	}
	if cookie(r, unitsCookie) == "si" {
		v.units = quantity.SI
	}
	v.address, _, _ = net.SplitHostPort(r.RemoteAddr)
	token := cookie(r, tokenCookie)
	if !v.asked || token == "" {
		return v, nil
	}
	who, err := b.identify(r.Context(), token)
	if err != nil {
		return v, err
	}
	v.who, v.token = who, token
	return v, nil
}

// identify says whom a token stands for.
func (b *board) identify(ctx context.Context, token string) (access.Identity, error) {
	who, err := b.Access.Identify(metadata.NewIncomingContext(ctx, metadata.Pairs("authorization", "Bearer "+token)))
	if err == nil && who.Name == "" {
		err = errors.New("the token names nobody")
	}
	return who, err
}

// checkForm refuses a form that this board did not send to this browser.
func (b *board) checkForm(r *http.Request, v *visitor) error {
	stale := &problem{Code: http.StatusForbidden, Title: "This form cannot be taken",
		Text: "It was not sent from a page of this board in this browser, or the session has ended since. Nothing was done. Open the page again and send the form from there."}
	if err := b.origin.Check(r); err != nil {
		return stale
	}
	if subtle.ConstantTimeCompare([]byte(r.PostFormValue("form")), []byte(v.form())) != 1 {
		return stale
	}
	return nil
}

func (b *board) signInPage(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if !v.asked {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	return b.write(w, v, http.StatusOK, view{Page: "signin", Title: "Sign in", Data: signIn{Next: localPath(r.URL.Query().Get("next"))}})
}

// signIn is what the sign-in page shows.
type signIn struct{ Next, Fault string }

func (b *board) signIn(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if !v.asked {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	token, next := strings.TrimSpace(r.PostFormValue("token")), localPath(r.PostFormValue("next"))
	fault := ""
	switch {
	case token == "":
		fault = "No token was given."
	case len(token) > longestToken || strings.ContainsAny(token, " \t\r\n;,\""):
		fault = "This is no token: one word of at most 3,800 letters, as the issuer gave it."
	default:
		if _, err := b.identify(r.Context(), token); err != nil {
			fault = "The token does not hold: " + err.Error() + "."
			if refusal, ok := client.AsRefusal(err); ok {
				fault = "The token does not hold: " + refusal.Message + "."
			}
		}
	}
	if fault != "" {
		return b.write(w, v, http.StatusUnauthorized, view{Page: "signin", Title: "Sign in", Data: signIn{next, fault}})
	}
	// A session that was there before must not be worth more now.
	newSession(w, r)
	setCookie(w, r, tokenCookie, token, 0)
	http.Redirect(w, r, next, http.StatusSeeOther)
	return nil
}

func (b *board) signOut(w http.ResponseWriter, r *http.Request, v *visitor) error {
	b.jobs.forget(v.session)
	setCookie(w, r, tokenCookie, "", -1)
	setCookie(w, r, sessionCookie, "", -1)
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
	return nil
}

// look changes how pages look.
func (b *board) look(w http.ResponseWriter, r *http.Request, _ *visitor) error {
	const year = 365 * 24 * 3600
	switch look := r.PostFormValue("look"); look {
	case "day", "night":
		setCookie(w, r, lookCookie, look, year)
	case "screen":
		setCookie(w, r, lookCookie, "", -1)
	}
	switch units := r.PostFormValue("units"); units {
	case "si", "trade":
		setCookie(w, r, unitsCookie, units, year)
	}
	http.Redirect(w, r, localPath(r.PostFormValue("next")), http.StatusSeeOther)
	return nil
}

// localPath is a path on this board, the first page where the text is anything
// else: a form must lead nowhere else.
func localPath(text string) string {
	if !strings.HasPrefix(text, "/") || strings.HasPrefix(text, "//") || strings.ContainsAny(text, "\\\r\n\t") {
		return "/"
	}
	return text
}

// What pages read of a visitor.

// Asked says whether anybody is asked who they are here.
func (v *visitor) Asked() bool { return v.asked }

// SignedIn says whether the visitor is known.
func (v *visitor) SignedIn() bool { return v.signedIn() }

// Name is who the visitor is.
func (v *visitor) Name() string { return v.who.Name }

// Look is day, night or "" for what the screen asks for.
func (v *visitor) Look() string { return v.look }

// Path is the page being looked at.
func (v *visitor) Path() string { return v.path }
