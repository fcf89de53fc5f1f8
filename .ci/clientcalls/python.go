package main

import (
	_ "embed"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
)

//go:embed carry.py
var carry string

// python makes the client and has it make every call, request and answer through
// the classes of the file.
func python(folder, made, url string, calls []sent) error {
	client := filepath.Join(made, "python")
	jar := filepath.Join(folder, "generator", "node_modules", "@openapitools", "openapi-generator-cli", "bin", "openapi-generator.jar")
	if _, err := command(nil, "java", "-XX:TieredStopAtLevel=1", "-DmodelTests=false", "-DapiTests=false", "-DmodelDocs=false", "-DapiDocs=false",
		"-Dmodels", "-Dapis", "-DsupportingFiles", "-jar", jar, "generate", "-g", "python", "--package-name", "made",
		"-i", filepath.Join(made, "openapi.json"), "-o", client); err != nil {
		return err
	}
	const interpreter = "/usr/bin/python3" // Debian's packages go with it
	if _, err := command(nil, interpreter, "-m", "compileall", "-q", client); err != nil {
		return err
	}
	type call struct {
		Operation, Service string
		Path               map[string]string
		Query              map[string]any
		Body               any
		Raw                json.RawMessage
		MayMove            bool
	}
	list := make([]call, len(calls))
	for i, c := range calls {
		service, _, _ := strings.Cut(c.Method, ".")
		list[i] = call{strings.ReplaceAll(c.Method, ".", "_"), service, c.Path, c.Query, c.Body, c.Raw, mayMove(c)}
	}
	text, err := json.Marshal(list)
	if err != nil {
		return err
	}
	file := filepath.Join(made, "calls.json")
	if err := os.WriteFile(file, text, 0o644); err != nil {
		return err
	}
	_, err = command(nil, interpreter, "-c", carry, client, url, file)
	return err
}
