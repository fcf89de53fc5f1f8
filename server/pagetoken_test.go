package server_test

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/server"
	"bowroll/server/examples"
)

// TestAPageTokenOfAnotherSiteOpensNothing takes a page token of each list of a site
// and shows it for another site: whoever may read both gets no page, and whoever may
// read the other alone gets none of the first either.
func TestAPageTokenOfAnotherSiteOpensNothing(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bowroll.db")
	h, end := kept(t, file)
	work(t, h)
	end()
	var signs signer
	h, end = kept(t, file, func(c *server.Config) { c.Access, signs = guard(t, c.Registry) })
	defer end()
	fleet, foreign := signs.token(t, "fleet", "reader@*"), signs.token(t, "skarn-watch", "reader@skarn-field")

	var tried []string
	for _, service := range server.Contract() {
		for i := range service.Methods().Len() {
			method := service.Methods().Get(i)
			fields := method.Input().Fields()
			if fields.ByName("parent") == nil || fields.ByName("page_token") == nil || method.IsStreamingServer() {
				continue
			}
			w := worked{Call: examples.Call{Method: string(service.Name()) + "." + string(method.Name())}, method: method}
			list := func(token, site, page string) (next string, web answer, over error) {
				request := map[string]any{"parent": "sites/" + site, "page_size": 1}
				if page != "" {
					request["page_token"] = page
				}
				ctx := metadata.AppendToOutgoingContext(context.Background(), "authorization", "Bearer "+token)
				reply, err := w.overGRPCWith(ctx, t, h, request)
				as, failed := examples.Over(method, request)
				if failed != nil {
					t.Fatal(failed)
				}
				web = h.do(t, as.Verb, as.Path, as.Body, "Authorization", "Bearer "+token)
				if err == nil {
					next = reply.ProtoReflect().Get(method.Output().Fields().ByName("next_page_token")).String()
				}
				return next, web, err
			}
			next, web, err := list(fleet, "varrow", "")
			if err != nil || web.code != http.StatusOK {
				t.Errorf("%s: %v; %d %.300s", w.Method, err, web.code, web.text)
				continue
			}
			if next == "" {
				continue // the worked calls leave one such thing, or none
			}
			tried = append(tried, w.Method)
			if _, web, err := list(fleet, "varrow", next); err != nil || web.code != http.StatusOK {
				t.Errorf("%s: its own token: %v; %d %.300s", w.Method, err, web.code, web.text)
			}
			_, web, err = list(fleet, "skarn-field", next)
			if got := violations(err); !slices.ContainsFunc(got, func(v string) bool { return strings.HasPrefix(v, "page_token ") }) {
				t.Errorf("%s with another site's token: %v", w.Method, err)
			}
			wantCode(t, err, codes.InvalidArgument)
			if code, _ := web.refused(t); web.code != http.StatusBadRequest || code != "INVALID_ARGUMENT" {
				t.Errorf("%s with another site's token over JSON: %d %.300s", w.Method, web.code, web.text)
			}
			_, web, err = list(foreign, "varrow", next)
			wantCode(t, err, codes.PermissionDenied)
			if web.code != http.StatusForbidden {
				t.Errorf("%s of a foreign site over JSON: %d %.300s", w.Method, web.code, web.text)
			}
		}
	}
	t.Logf("tried %s", strings.Join(tried, ", "))
	for _, must := range []protoreflect.Name{"ListUnits", "ExportUnits", "ListPlans", "ListObservedRuns"} {
		if !slices.ContainsFunc(tried, func(name string) bool { return strings.HasSuffix(name, fmt.Sprintf(".%s", must)) }) {
			t.Errorf("%s was not tried: its list has one page", must)
		}
	}
}
