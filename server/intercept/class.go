package intercept

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
)

// Class is a kind of call and what it may take. Calls of one class share its
// places; classes never wait for each other.
type Class struct {
	// Name is what logs, metrics and refusals call it, e.g. "read".
	Name string
	// Deadline is the longest that a call may take.
	Deadline time.Duration
	// InFlight is how many calls are taken on at once at most.
	InFlight int
	// MaxBytes is the greatest size of a request, or of one of a stream.
	MaxBytes int
	// Retry is how long a refused caller is asked to wait.
	Retry time.Duration
}

// Classes maps full method names, "/package.Service/Method", to their class.
// Methods without one, such as health checks, pass unbounded.
type Classes map[string]*Class

// Covers returns an error that names every method of the services registered
// with s, below the package given, that has no class: a new method must be
// given one before it can be served.
func (c Classes) Covers(s *grpc.Server, pkg string) error {
	var missing []string
	for service, info := range s.GetServiceInfo() {
		if !strings.HasPrefix(service, pkg+".") {
			continue
		}
		for _, m := range info.Methods {
			if full := "/" + service + "/" + m.Name; c[full] == nil {
				missing = append(missing, full)
			}
		}
	}
	if len(missing) == 0 {
		return nil
	}
	slices.Sort(missing)
	return fmt.Errorf("no class of call is stated for %s", strings.Join(missing, ", "))
}
