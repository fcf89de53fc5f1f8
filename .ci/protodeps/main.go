// Command protodeps prints the third-party .proto files that the contract
// imports into a folder, from the descriptors that the pinned Go modules carry,
// so that generation needs no schema registry.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/jhump/protoreflect/v2/protoprint"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	_ "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	_ "github.com/grpc-ecosystem/grpc-gateway/v2/protoc-gen-openapiv2/options"
	_ "google.golang.org/genproto/googleapis/api/annotations"
	_ "google.golang.org/genproto/googleapis/rpc/errdetails"
	_ "google.golang.org/genproto/googleapis/rpc/status"
)

// roots are the files that our .proto files may import.
var roots = []string{
	"buf/validate/validate.proto",
	"google/api/annotations.proto",
	"google/api/client.proto",
	"google/api/field_behavior.proto",
	"google/api/resource.proto",
	"google/rpc/error_details.proto",
	"google/rpc/status.proto",
	"protoc-gen-openapiv2/options/annotations.proto",
}

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: protodeps FOLDER")
		os.Exit(2)
	}
	if err := run(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "protodeps:", err)
		os.Exit(1)
	}
}

// run prints every root and what it imports below folder.
func run(folder string) error {
	printed := map[string]bool{}
	for _, path := range roots {
		file, err := protoregistry.GlobalFiles.FindFileByPath(path)
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		if err := write(folder, file, printed); err != nil {
			return err
		}
	}
	return nil
}

// write prints file and its imports, each once. The google/protobuf files come
// with buf.
func write(folder string, file protoreflect.FileDescriptor, printed map[string]bool) error {
	if printed[file.Path()] || filepath.Dir(file.Path()) == "google/protobuf" {
		return nil
	}
	printed[file.Path()] = true
	imports := file.Imports()
	for i := range imports.Len() {
		if err := write(folder, imports.Get(i).FileDescriptor, printed); err != nil {
			return err
		}
	}
	target := filepath.Join(folder, filepath.FromSlash(file.Path()))
	if err := os.MkdirAll(filepath.Dir(target), 0o755); err != nil {
		return err
	}
	out, err := os.Create(target)
	if err != nil {
		return err
	}
	printer := protoprint.Printer{}
	if err := printer.PrintProtoFile(file, out); err != nil {
		out.Close()
		return fmt.Errorf("%s: %w", file.Path(), err)
	}
	return out.Close()
}
