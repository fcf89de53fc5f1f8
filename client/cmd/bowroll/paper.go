package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"bowroll/client/sheet/paper"
)

// writeFile writes a file whole or not at all: beside its place first, then moved
// there.
func writeFile(name string, draw func(io.Writer) error) (err error) {
	var whole bytes.Buffer
	if err := draw(&whole); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return placeFile(name, func(w io.Writer) error { _, err := w.Write(whole.Bytes()); return err })
}

// placeFile writes a file that may be larger than memory, whole or not at all.
func placeFile(name string, write func(io.Writer) error) (err error) {
	temp, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+".*")
	if err != nil {
		if made := (*fs.PathError)(nil); errors.As(err, &made) {
			err = made.Err // it names the file that stands in until all is written
		}
		return badInput{fmt.Errorf("%s cannot be written: %w: name a file in a folder that there is and that you may write to", name, err)}
	}
	defer func() {
		if err != nil {
			_ = os.Remove(temp.Name()) // the error that matters is on its way already
		}
	}()
	if err = write(temp); err == nil {
		err = temp.Sync()
	}
	if closed := temp.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Chmod(temp.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(temp.Name(), name)
	}
	return err
}

// ending returns the form that a file name asks for, or an error that lists the
// forms there are.
func ending(flag, name string, forms ...string) (string, error) {
	form := strings.ToLower(strings.TrimPrefix(filepath.Ext(name), "."))
	for _, f := range forms {
		if form == f {
			return form, nil
		}
	}
	return "", badInput{fmt.Errorf("%s %s: the name must end in .%s", flag, name, strings.Join(forms, ", ."))}
}

// paperFlags say how paper is printed.
type paperFlags struct {
	Paper string `help:"Size of paper in PDF files: ${enum}." enum:"a4,letter" default:"a4" group:"Paper"`
}

func (f paperFlags) size() paper.Size {
	if f.Paper == "letter" {
		return paper.Letter
	}
	return paper.A4
}

// print writes a document in the form that its file's name asks for.
func (f paperFlags) print(name, form string, doc paper.Document) error {
	return writeFile(name, func(w io.Writer) error {
		switch form {
		case "pdf":
			return paper.PDF(w, doc, f.size())
		case "html":
			return paper.HTML(w, doc)
		}
		return paper.Text(w, doc)
	})
}
