package board

import (
	"context"
	"embed"
	"errors"
	"io/fs"
	"net/http"
	"time"

	"google.golang.org/grpc"

	"bowroll/client"
	"bowroll/server/access"
)

//go:embed assets pages
var files embed.FS

// Config is what a board needs.
type Config struct {
	// Conn leads to the service. Required.
	Conn *grpc.ClientConn
	// Access says who calls and what they may; nil where nobody is asked. The
	// service decides each call by itself: the board asks so that it offers
	// nothing that would be refused.
	Access *access.Guard
	// Keeps says that the service keeps stock and plans.
	Keeps bool
	// Now is the clock. Required.
	Now func() time.Time
	// NewID makes ids at random, 16 hexadecimal digits. Required.
	NewID func() string
}

type board struct {
	Config
	to      *client.Client
	pages   pages
	jobs    *jobs
	origin  *http.CrossOriginProtection
	example example
}

// New makes a board.
func New(config Config) (http.Handler, error) {
	if config.Conn == nil || config.Now == nil || config.NewID == nil {
		return nil, errors.New("a board needs a connection, a clock and ids")
	}
	// The connection belongs to whoever gave it, and they close it.
	to, err := client.InProcess(context.Background(), func(context.Context) (*grpc.ClientConn, func(), error) {
		return config.Conn, func() {}, nil
	})
	if err != nil {
		return nil, err
	}
	read, err := readPages(files)
	if err != nil {
		return nil, err
	}
	assets, err := fs.Sub(files, "assets")
	if err != nil {
		return nil, err
	}
	begin, err := readExample()
	if err != nil {
		return nil, err
	}
	b := &board{Config: config, to: to, pages: read, jobs: newJobs(config.Now), origin: http.NewCrossOriginProtection(), example: begin}
	mux := http.NewServeMux()
	mux.Handle("GET /assets/", http.StripPrefix("/assets", http.FileServerFS(assets)))
	b.routes(mux)
	return b.shielded(mux), nil
}

// routes says which page is where.
func (b *board) routes(mux *http.ServeMux) {
	open := func(pattern string, serve page) { mux.Handle(pattern, b.serve(serve, false)) }
	known := func(pattern string, serve page) { mux.Handle(pattern, b.serve(serve, true)) }
	known("GET /{$}", b.home)
	open("GET /sign-in", b.signInPage)
	open("POST /sign-in", b.signIn)
	open("POST /sign-out", b.signOut)
	open("POST /look", b.look)

	known("GET /cycle", b.cyclePage)
	known("POST /cycle", b.planCycle)
	known("GET /cycle/{job}", b.job)
	known("GET /cycle/{job}/progress", b.progress)
	known("POST /cycle/{job}/cancel", b.cancelJob)
	known("POST /cycle/{job}/keep", b.keepPlan)
	known("GET /cycle/{job}/cards", b.cards)
	known("GET /cycle/{job}/sheet", b.sheet)
	known("GET /cycle/{job}/margins.svg", b.margins)
	known("GET /cycle/{job}/runs/{sortie}", b.runChart)

	known("GET /plans", b.sitesOfPlans)
	known("GET /plans/{site}", b.keptPlans)
	known("GET /plans/{site}/{plan}", b.keptPlan)
	known("GET /plans/{site}/{plan}/cards", b.keptCards)
	known("GET /plans/{site}/{plan}/launch/{sortie}", b.launchPage)
	known("POST /plans/{site}/{plan}/{act}", b.act)

	known("GET /wind", b.wind)
	known("GET /wind.svg", b.windChart)
	known("GET /stock", b.sitesOfStock)
	known("GET /stock/{site}", b.stock)
	known("GET /stock/{site}/{lot}", b.lot)
	known("GET /observed", b.sitesOfObserved)
	known("GET /observed/{site}", b.observed)
	known("POST /observed/{site}/{correction}", b.decide)
	known("GET /sweeps", b.sitesOfSweeps)
	known("GET /sweeps/{site}", b.sweeps)
	known("GET /sweeps/{site}/{sweep}", b.sweep)
	known("GET /sweeps/{site}/{sweep}/{file}", b.sweepRows)
	known("GET /checks", b.checks)
	open("/", func(http.ResponseWriter, *http.Request, *visitor) error {
		return &problem{Code: http.StatusNotFound, Title: "There is no such page", Text: "The address leads nowhere on this board."}
	})
}

// Owns says whether the board answers a path; the rest is the JSON service's.
func Owns(path string) bool {
	for _, theirs := range []string{"/v1/", "/healthz", "/readyz", "/reference", "/openapi.json"} {
		if len(path) >= len(theirs) && path[:len(theirs)] == theirs {
			return false
		}
	}
	return path != "/v1"
}

// policy lets a page load what this service serves and nothing else.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// paperPolicy is for printed sheets, which carry their style inside.
const paperPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; base-uri 'none'; frame-ancestors 'none'; sandbox allow-modals"

// shielded sets what browsers hold pages to.
func (b *board) shielded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		h.Set("Cache-Control", "no-store")
		if r.TLS != nil {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}
