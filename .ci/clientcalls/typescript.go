package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/proto/openapi"
	"bowroll/server"
)

// typescript makes the client, compiles every call and every answer against its
// types, and makes the calls.
func typescript(folder, made, url string, calls []sent) error {
	if err := os.WriteFile(filepath.Join(made, "openapi.json"), openapi.JSON, 0o644); err != nil {
		return err
	}
	bin := filepath.Join(folder, "node_modules", ".bin")
	if _, err := command(nil, filepath.Join(bin, "openapi-typescript"), filepath.Join(made, "openapi.json"), "-o", filepath.Join(made, "schema.ts")); err != nil {
		return err
	}
	var code bytes.Buffer
	code.WriteString("import createClient from \"openapi-fetch\";\nimport type { paths } from \"./schema.js\";\n" +
		"declare const process: { argv: string[] };\nconst client = createClient<paths>({ baseUrl: process.argv[2]! });\n" +
		"function show(data: unknown, error: unknown): void { console.log(JSON.stringify(error ?? data)); }\n")
	for _, c := range calls {
		init, parameters := map[string]any{}, map[string]any{}
		if len(c.Path) > 0 {
			parameters["path"] = c.Path
		}
		if len(c.Query) > 0 {
			parameters["query"] = c.Query
		}
		if len(parameters) > 0 {
			init["params"] = parameters
		}
		if c.Body != nil {
			init["body"] = c.Body
		}
		text, err := json.Marshal(init)
		if err != nil {
			return err
		}
		fmt.Fprintf(&code, "{\n  const { data, error } = await client.%s(%q, %s);\n  show(data, error);\n  const answered: NonNullable<typeof data> = %s;\n  void answered;\n}\n",
			strings.ToUpper(c.Verb), c.Template, text, bytes.TrimSpace(c.Raw))
	}
	for name, text := range map[string]string{
		"calls.ts":     code.String(),
		"package.json": `{"type": "module"}`,
		"tsconfig.json": `{"compilerOptions": {"strict": true, "noEmitOnError": true, "target": "es2022", "module": "nodenext", "lib": ["es2022", "dom"],
			"skipLibCheck": true, "types": []}, "files": ["calls.ts"]}`,
	} {
		if err := os.WriteFile(filepath.Join(made, name), []byte(text), 0o644); err != nil {
			return err
		}
	}
	if _, err := command(nil, filepath.Join(bin, "tsc"), "-p", made); err != nil {
		return err
	}
	out, err := command(nil, "node", filepath.Join(made, "calls.js"), url)
	if err != nil {
		return err
	}
	return compare(calls, bytes.Split(bytes.TrimSpace(out), []byte("\n")), mayMove)
}

// mayMove says whether an answer may be another when it is asked for later: one
// that reads what other calls change, or only tries a change. What computes, and
// what changes something under a request_id, answers the same again.
func mayMove(c sent) bool {
	switch service, _, _ := strings.Cut(c.Method, "."); service {
	case "Takeoffs", "WindLimits", "Cycles", "Model":
		return false
	}
	body, _ := c.Body.(map[string]any)
	return body["request_id"] == nil || body["validate_only"] == true
}

// compare holds answers against the plain ones.
func compare(calls []sent, got [][]byte, skip func(sent) bool) error {
	if len(got) != len(calls) {
		return fmt.Errorf("%d answers to %d calls", len(got), len(calls))
	}
	for i, c := range calls {
		var a, b any
		if err := json.Unmarshal(got[i], &a); err != nil {
			return fmt.Errorf("%s: %w", c.Method, err)
		}
		if err := json.Unmarshal(c.Raw, &b); err != nil {
			return err
		}
		if a, b = present(a), present(b); !reflect.DeepEqual(a, b) && !skip(c) {
			return fmt.Errorf("%s came back as\n%.1000s\nnot\n%.1000s", c.Method, got[i], c.Raw)
		}
	}
	return nil
}

// present leaves out what is null, which clients may show as absent.
func present(value any) any {
	switch v := value.(type) {
	case map[string]any:
		for key, inner := range v {
			if inner == nil {
				delete(v, key)
			} else {
				v[key] = present(inner)
			}
		}
	case []any:
		for i := range v {
			v[i] = present(v[i])
		}
	}
	return value
}

// methodOf finds "Takeoffs.Compute" in the contract.
func methodOf(name string) (protoreflect.MethodDescriptor, bool) {
	service, method, _ := strings.Cut(name, ".")
	for _, s := range server.Contract() {
		if string(s.Name()) == service {
			m := s.Methods().ByName(protoreflect.Name(method))
			return m, m != nil
		}
	}
	return nil, false
}
