package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// revisionFile says, in a folder that was exported, which revision it is of. The
// service passes over files whose names begin with a dot.
const revisionFile = ".revision"

type catalogExportCommand struct {
	Folder   string `arg:"" help:"Folder to write, made where there is none; what is in it under other names stays."`
	Revision string `help:"Revision to write; the one that holds unless given." placeholder:"REVISION"`
}

func (c *catalogExportCommand) Run(p *program) error {
	answer, err := ask(p, "reading the catalog", func(to *client.Client) (*bowrollv1.ExportCatalogResponse, error) {
		return to.Catalog.ExportCatalog(p.ctx, &bowrollv1.ExportCatalogRequest{Revision: c.Revision})
	}, nil)
	if err != nil {
		return err
	}
	files := append(answer.GetFiles(), &bowrollv1.CatalogFile{Path: revisionFile, Text: answer.GetRevision() + "\n"})
	for _, f := range files {
		if !filepath.IsLocal(f.GetPath()) {
			return fmt.Errorf("the service names a file outside the folder: %q", f.GetPath())
		}
		name := filepath.Join(c.Folder, filepath.FromSlash(f.GetPath()))
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			return badInput{err}
		}
		if err := writeFile(name, func(w io.Writer) error { _, err := io.WriteString(w, f.GetText()); return err }); err != nil {
			return err
		}
	}
	if p.line.Format == "json" {
		return writeJSON(p.stdout, answer)
	}
	_, err = fmt.Fprintf(p.stdout, "%s written to %s as %s\n", answer.GetRevision(), c.Folder, count(len(answer.GetFiles()), "file"))
	return err
}

type catalogImportCommand struct {
	Folder string `arg:"" help:"Folder of YAML files that the catalog is to be."`
	Check  bool   `help:"Check all of it, show what would change and write nothing."`
	Anyway bool   `help:"Replace the catalog even where it was changed since the folder was exported."`
	reasonFlag
	actFlags
}

func (*catalogImportCommand) Help() string {
	return `Replaces the whole catalog: what the folder lacks is taken out, unless lots or open plans
use it. A folder that "catalog export" wrote remembers its revision, and is refused
where somebody changed the catalog since. Every revision is kept.`
}

func (c *catalogImportCommand) Run(p *program) error {
	request, err := readFolder(c.Folder)
	if err != nil {
		return err
	}
	if c.Anyway {
		request.BaseRevision = ""
	}
	request.Reason, request.Actor, request.ValidateOnly = c.Reason, c.Actor, c.Check
	answer, err := change(p, c.actFlags, "importing the catalog", func(to *client.Client, id string) (*bowrollv1.CatalogDiff, error) {
		request.RequestId = id
		return to.Catalog.ImportCatalog(p.ctx, request)
	}, sheet.CatalogDiff)
	if err != nil || c.Check {
		return err
	}
	return writeFile(filepath.Join(c.Folder, revisionFile), func(w io.Writer) error {
		_, err := io.WriteString(w, answer.GetToRevision()+"\n")
		return err
	})
}

// readFolder reads a folder of the catalog.
func readFolder(name string) (*bowrollv1.ImportCatalogRequest, error) {
	request, size := &bowrollv1.ImportCatalogRequest{}, 0
	root := os.DirFS(name)
	err := fs.WalkDir(root, ".", func(path string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case path != "." && strings.HasPrefix(entry.Name(), "."):
			if entry.IsDir() {
				return fs.SkipDir
			}
			return nil
		case entry.IsDir() || !strings.HasSuffix(path, ".yaml") && !strings.HasSuffix(path, ".yml"):
			return nil
		}
		text, err := fs.ReadFile(root, path)
		if size += len(text); err == nil && size > longest {
			err = fmt.Errorf("%s holds more than %d MiB: is this the catalog's folder?", name, longest>>20)
		}
		request.Files = append(request.Files, &bowrollv1.CatalogFile{Path: path, Text: string(text)})
		return err
	})
	if err != nil {
		return nil, badInput{err}
	}
	if len(request.Files) == 0 {
		return nil, badInput{fmt.Errorf("%s holds no .yaml file", name)}
	}
	base, err := fs.ReadFile(root, revisionFile)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, badInput{err}
	}
	request.BaseRevision = strings.TrimSpace(string(base))
	return request, nil
}

type catalogDiffCommand struct {
	Folder string `arg:"" optional:"" help:"Folder to compare with the catalog that holds."`
	From   string `help:"Compare this revision instead." placeholder:"REVISION"`
	To     string `help:"With this one; the one that holds unless given." placeholder:"REVISION"`
}

func (*catalogDiffCommand) Help() string {
	return `Exits with 1 where something differs.`
}

func (c *catalogDiffCommand) Run(p *program) error {
	if (c.Folder == "") == (c.From == "") {
		return badInput{errors.New("name a folder to compare with the catalog, or a revision with --from")}
	}
	answer, err := ask(p, "comparing", func(to *client.Client) (*bowrollv1.CatalogDiff, error) {
		if c.From != "" {
			return to.Catalog.DiffCatalog(p.ctx, &bowrollv1.DiffCatalogRequest{FromRevision: c.From, ToRevision: c.To})
		}
		request, err := readFolder(c.Folder)
		if err != nil {
			return nil, err
		}
		id, err := actFlags{}.request(p)
		if err != nil {
			return nil, err
		}
		request.BaseRevision, request.ValidateOnly = "", true
		request.Reason, request.Actor, request.RequestId = "compare", "bowroll", id
		return to.Catalog.ImportCatalog(p.ctx, request)
	}, sheet.CatalogDiff)
	if err == nil && len(answer.GetChanges()) > 0 {
		return errNothing
	}
	return err
}

type catalogRevisionsCommand struct {
	Most int32 `help:"Most revisions to show." default:"50" placeholder:"N"`
}

func (c *catalogRevisionsCommand) Run(p *program) error {
	_, err := ask(p, "reading the revisions", func(to *client.Client) (*bowrollv1.ListCatalogRevisionsResponse, error) {
		return to.Catalog.ListCatalogRevisions(p.ctx, &bowrollv1.ListCatalogRevisionsRequest{PageSize: c.Most})
	}, sheet.CatalogRevisions)
	return err
}
