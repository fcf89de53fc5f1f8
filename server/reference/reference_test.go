package reference_test

import (
	"context"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"bowroll/server"
)

func get(t *testing.T, url string) (*http.Response, string) {
	t.Helper()
	answer, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer, string(text)
}

func TestTheFileIsServedAndSound(t *testing.T) {
	web := service(t)
	answer, text := get(t, web.URL+"/openapi.json")
	if answer.Header.Get("Content-Type") != "application/json" {
		t.Error(answer.Header)
	}
	document, err := openapi3.NewLoader().LoadFromData([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if err := document.Validate(context.Background()); err != nil {
		t.Error(err)
	}
}

func TestThePageShowsEveryCallAndAsksNobodyElse(t *testing.T) {
	web := service(t)
	answer, text := get(t, web.URL+"/reference")
	if answer.StatusCode != 200 || answer.Request.URL.Path != "/reference/" {
		t.Fatal(answer.Status, answer.Request.URL)
	}
	if policy := answer.Header.Get("Content-Security-Policy"); !strings.HasPrefix(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") {
		t.Error(policy)
	}
	for _, service := range server.Contract() {
		for i := range service.Methods().Len() {
			id := string(service.Name()) + "." + string(service.Methods().Get(i).Name())
			for _, part := range []string{`data-method="` + id + `"`, `<label for="` + id + `-path">`} {
				if !strings.Contains(text, part) {
					t.Errorf("no %s", part)
				}
			}
		}
	}
	if elsewhere := regexp.MustCompile(`(src|href)="(https?:)?//[^"]*"`).FindString(text); elsewhere != "" {
		t.Error(elsewhere)
	}
	if inline := regexp.MustCompile(`<script>|<style>| style=| on[a-z]+=`).FindString(text); inline != "" {
		t.Error(inline)
	}
	for _, name := range []string{"page.css", "page.js"} {
		if answer, _ := get(t, web.URL+"/reference/"+name); answer.StatusCode != 200 {
			t.Error(name, answer.Status)
		}
	}
	if answer, _ := get(t, web.URL+"/reference/../reference.go"); answer.StatusCode != 404 {
		t.Error(answer.Status)
	}
}
