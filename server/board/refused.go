package board

import (
	"net/http"
	"strings"

	"google.golang.org/grpc/codes"

	"bowroll/client"
)

// titles are what refusals of the service are called on a page.
var titles = map[codes.Code]struct {
	code  int
	title string
}{
	codes.InvalidArgument:    {http.StatusUnprocessableEntity, "This cannot be taken as it is"},
	codes.NotFound:           {http.StatusNotFound, "This is not there"},
	codes.AlreadyExists:      {http.StatusConflict, "This is there already"},
	codes.FailedPrecondition: {http.StatusConflict, "This cannot be done as things stand"},
	codes.Aborted:            {http.StatusConflict, "This has changed since it was read"},
	codes.PermissionDenied:   {http.StatusForbidden, "You may not do this"},
	codes.Unauthenticated:    {http.StatusUnauthorized, "Sign in first"},
	codes.ResourceExhausted:  {http.StatusTooManyRequests, "The service has its hands full"},
	codes.Unavailable:        {http.StatusServiceUnavailable, "The service does not answer"},
	codes.DeadlineExceeded:   {http.StatusGatewayTimeout, "This took too long"},
	codes.Unimplemented:      {http.StatusNotFound, "This service keeps no stock and plans"},
}

func titled(r *client.Refusal) (code int, title string) {
	if t, ok := titles[r.Code]; ok {
		return t.code, t.title
	}
	return http.StatusInternalServerError, "The service could not answer"
}

// sentence ends a text as a sentence, its first letter large.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return text
}
