package board

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"bowroll/client"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// notice is said on every page.
const notice = "Results advise. The approved flight manual, the ordnance instructions for the unit, local codes and the officers and licensed people responsible decide. This board triggers nothing."

// mostForm is the most that a form may hold, a cycle file included.
const mostForm = 2 << 20

// A page answers a request, or returns why it does not.
type page func(http.ResponseWriter, *http.Request, *visitor) error

// pages are the templates by name.
type pages map[string]*template.Template

func readPages(from embed.FS) (pages, error) {
	common, err := template.New("").Funcs(functions()).ParseFS(from, "pages/common/*.html")
	if err != nil {
		return nil, fmt.Errorf("read the board's pages: %w", err)
	}
	entries, err := from.ReadDir("pages")
	if err != nil {
		return nil, err
	}
	all := pages{}
	for _, e := range entries {
		name, isPage := strings.CutSuffix(e.Name(), ".html")
		if !isPage {
			continue
		}
		one, err := common.Clone()
		if err == nil {
			_, err = one.ParseFS(from, "pages/"+e.Name())
		}
		if err != nil {
			return nil, fmt.Errorf("read the board's pages: %w", err)
		}
		all[name] = one
	}
	return all, nil
}

// A view is what a page is made from.
type view struct {
	Page  string // name of its template
	Title string
	// Live says that the page changes while it is looked at.
	Live bool
	From *bowrollv1.Provenance
	Data any

	V      *visitor
	Nav    []link
	Form   string // the word that every form carries
	Notice string
	SI     bool
}

// A link leads to a page of the board.
type link struct {
	Name, To string
	Here     bool
}

// places are the parts of the board that the visitor may use.
func (b *board) places(v *visitor, at string) []link {
	if !v.signedIn() {
		return nil
	}
	var list []link
	add := func(shown bool, name, to string) {
		if shown {
			list = append(list, link{name, to, at == to || strings.HasPrefix(at, to+"/")})
		}
	}
	add(v.may(bowrollv1.Cycles_PlanStream_FullMethodName, ""), "Cycle", "/cycle")
	add(b.Keeps && v.may(bowrollv1.Model_GetModel_FullMethodName, ""), "Plans", "/plans")
	add(v.may(bowrollv1.WindLimits_Compute_FullMethodName, ""), "Wind", "/wind")
	add(b.Keeps && v.may(bowrollv1.Model_GetModel_FullMethodName, ""), "Stock", "/stock")
	add(b.Keeps && v.may(bowrollv1.Model_GetModel_FullMethodName, ""), "Observed", "/observed")
	add(b.Keeps && v.may(bowrollv1.Model_GetModel_FullMethodName, ""), "Sweeps", "/sweeps")
	add(v.may(bowrollv1.Model_Check_FullMethodName, ""), "Checks", "/checks")
	return list
}

// write writes a page whole or not at all.
func (b *board) write(w http.ResponseWriter, v *visitor, code int, shown view) error {
	shown.V, shown.Form, shown.Notice, shown.SI = v, v.form(), notice, v.units == quantity.SI
	shown.Nav = b.places(v, v.path)
	var whole bytes.Buffer
	if err := b.pages[shown.Page].ExecuteTemplate(&whole, "layout", shown); err != nil {
		return fmt.Errorf("page %s: %w", shown.Page, err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	// A browser that has gone away is not an error of ours.
	_, _ = w.Write(whole.Bytes())
	return nil
}

// serve answers with a page for visitors who are known, where known asks so, and
// with the page of a problem where it cannot.
func (b *board) serve(serve page, known bool) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, mostForm)
		v, err := b.visitor(w, r)
		if err == nil || !known {
			err = b.answer(w, r, v, serve, known)
		} else {
			// The token has run out, or its issuer's keys could not be read.
			setCookie(w, r, tokenCookie, "", -1)
		}
		if err == nil {
			return
		}
		said := problemOf(err)
		if said.Code == http.StatusUnauthorized && r.Method == http.MethodGet && known {
			http.Redirect(w, r, "/sign-in?next="+template.URLQueryEscaper(r.URL.RequestURI()), http.StatusSeeOther)
			return
		}
		if err := b.write(w, v, said.Code, view{Page: "problem", Title: said.Title, Data: said}); err != nil {
			http.Error(w, "the page could not be written", http.StatusInternalServerError)
		}
	})
}

func (b *board) answer(w http.ResponseWriter, r *http.Request, v *visitor, serve page, known bool) error {
	if r.Method == http.MethodPost {
		if err := readForm(r); err != nil {
			return err
		}
		if err := b.checkForm(r, v); err != nil {
			return err
		}
	}
	if known && !v.signedIn() {
		return &problem{Code: http.StatusUnauthorized, Title: "Sign in first", Text: "This board shows nothing to those it does not know."}
	}
	return serve(w, r, v)
}

// readForm reads a form of either kind within the limit.
func readForm(r *http.Request) error {
	err := r.ParseForm()
	if err == nil {
		err = r.ParseMultipartForm(mostForm)
	}
	if errors.Is(err, http.ErrNotMultipart) {
		err = nil // the ordinary kind was read
	}
	if large := (*http.MaxBytesError)(nil); errors.As(err, &large) {
		return &problem{Code: http.StatusRequestEntityTooLarge, Title: "This is too large", Text: "A form with its file may hold 2 MiB. Nothing was done. Plan larger queues with the command line."}
	}
	if err != nil {
		return &problem{Code: http.StatusBadRequest, Title: "This form cannot be read", Text: "What arrived is no form of this board. Nothing was done."}
	}
	return nil
}

// A problem is why a page is not what was asked for.
type problem struct {
	Code        int
	Title, Text string
	Violations  []*bowrollv1.Violation
	// Back leads to where to go on; empty is the first page.
	Back, BackName string
}

func (p *problem) Error() string { return p.Title + ": " + p.Text }

// problemOf says in a page what an error means.
func problemOf(err error) *problem {
	if p := (*problem)(nil); errors.As(err, &p) {
		return p
	}
	refusal, ok := client.AsRefusal(err)
	if !ok {
		return &problem{Code: http.StatusInternalServerError, Title: "The page could not be made", Text: err.Error()}
	}
	p := &problem{Text: sentence(refusal.Message), Violations: refusal.Violations}
	p.Code, p.Title = titled(refusal)
	return p
}
