// Command clientcalls holds generated clients against the worked calls. It starts
// a service, sends every call as plain JSON, makes each through the clients' types,
// and compares what they got with the plain answers: in TypeScript, where the
// compiler checks every call and every answer, and in Python.
package main

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	"bowroll/proto/openapi"
	"bowroll/server"
	"bowroll/server/assembly"
	"bowroll/server/examples"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: clientcalls FOLDER")
		os.Exit(2)
	}
	if err := run(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "clientcalls:", err)
		os.Exit(1)
	}
}

// sent is a worked call and its answer as plain JSON.
type sent struct {
	operation
	Method string
	Path   map[string]string // the variables of the template
	Query  map[string]any
	Body   any
	Raw    json.RawMessage
}

// operation is what the OpenAPI file says of a method.
type operation struct {
	Template, Verb string
}

func run(folder string) error {
	url, end, err := serve()
	if err != nil {
		return err
	}
	defer end()
	calls, err := send(url)
	if err != nil {
		return err
	}
	made := filepath.Join(folder, "made")
	if err := typescript(folder, made, url, calls); err != nil {
		return fmt.Errorf("TypeScript: %w", err)
	}
	fmt.Printf("%d calls there and back in TypeScript\n", len(calls))
	if err := python(folder, made, url, calls); err != nil {
		return fmt.Errorf("Python: %w", err)
	}
	fmt.Printf("%d calls there and back in Python\n", len(calls))
	return nil
}

// serve starts the whole service over a new store.
func serve() (url string, end func(), err error) {
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		return "", nil, err
	}
	place, err := os.MkdirTemp("", "bowroll-clients")
	if err != nil {
		return "", nil, err
	}
	kept, err := assembly.OpenStore(context.Background(), filepath.Join(place, "bowroll.db"))
	if err != nil {
		return "", nil, err
	}
	config := server.Config{Log: zap.NewNop(), Registry: prometheus.NewRegistry(), NewID: assembly.NewID, Grace: time.Second}
	s, err := assembly.New(config, folder, assembly.WithStore(kept, time.Now),
		assembly.WithSiteKeys(map[string][]ed25519.PublicKey{"varrow": {examples.SiteKey().Public().(ed25519.PublicKey)}}))
	if err != nil {
		return "", nil, err
	}
	web := httptest.NewServer(s.Handler())
	return web.URL, func() {
		web.Close()
		_, _ = s.Close(), kept.Close()
		_ = os.RemoveAll(place)
	}, nil
}

// send sends every call that is no stream.
func send(url string) ([]sent, error) {
	operations, err := readOperations()
	if err != nil {
		return nil, err
	}
	worked, err := examples.All()
	if err != nil {
		return nil, err
	}
	answers := map[string]any{}
	var calls []sent
	for _, example := range worked {
		method, ok := methodOf(example.Method)
		if !ok {
			return nil, fmt.Errorf("the contract has no %s", example.Method)
		}
		if method.IsStreamingServer() {
			continue
		}
		request, err := example.Resolved(answers)
		if err != nil {
			return nil, err
		}
		if err := example.Sign(request); err != nil {
			return nil, fmt.Errorf("%s: %w", example.Method, err)
		}
		over, err := examples.Over(method, request)
		if err != nil {
			return nil, err
		}
		raw, err := plain(url, over)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", example.Method, err)
		}
		var answer any
		if err := json.Unmarshal(raw, &answer); err != nil {
			return nil, err
		}
		answers[example.Method] = answer
		c := sent{Method: example.Method, Raw: raw, operation: operations[strings.ReplaceAll(example.Method, ".", "_")], Query: map[string]any{}}
		path, _, asks := strings.Cut(over.Path, "?")
		c.Path = variables(c.Template, path)
		if over.Body != "" {
			if err := json.Unmarshal([]byte(over.Body), &c.Body); err != nil {
				return nil, err
			}
		} else if asks {
			for key, value := range request {
				if key != "name" && key != "parent" {
					c.Query[key] = value
				}
			}
		}
		calls = append(calls, c)
	}
	return calls, nil
}

func plain(url string, over examples.HTTP) (json.RawMessage, error) {
	request, err := http.NewRequest(over.Verb, url+over.Path, strings.NewReader(over.Body))
	if err != nil {
		return nil, err
	}
	request.Header.Set("Content-Type", "application/json")
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err == nil && answer.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %.400s", answer.Status, text)
	}
	return text, err
}

var variable = regexp.MustCompile(`\\\{(\w+)\\\}`)

// variables are the values in a path of what a template leaves open.
func variables(template, path string) map[string]string {
	pattern := regexp.MustCompile("^" + variable.ReplaceAllString(regexp.QuoteMeta(template), "(?P<$1>[^/:]+)") + "$")
	found := map[string]string{}
	if values := pattern.FindStringSubmatch(path); values != nil {
		for i, name := range pattern.SubexpNames()[1:] {
			found[name] = values[i+1]
		}
	}
	return found
}

// readOperations reads the file by operation.
func readOperations() (map[string]operation, error) {
	var file struct {
		Paths map[string]map[string]struct {
			OperationID string
		}
	}
	if err := json.Unmarshal(openapi.JSON, &file); err != nil {
		return nil, err
	}
	found := map[string]operation{}
	for template, verbs := range file.Paths {
		for verb, o := range verbs {
			found[o.OperationID] = operation{template, verb}
		}
	}
	return found, nil
}

// command runs a program and shows what it said where it fails.
func command(input []byte, name string, args ...string) ([]byte, error) {
	c := exec.Command(name, args...)
	c.Stdin = bytes.NewReader(input)
	var out, said bytes.Buffer
	c.Stdout, c.Stderr = &out, &said
	if err := c.Run(); err != nil {
		return nil, fmt.Errorf("%s: %w\n%.4000s%.4000s", name, err, out.String(), said.String())
	}
	return out.Bytes(), nil
}
