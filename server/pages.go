package server

import (
	"net/http"

	"bowroll/server/board"
)

// withPages answers the paths of people's pages with them and all others as
// before.
func withPages(people, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if board.Owns(r.URL.Path) {
			people.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}
