package pack

import (
	"archive/zip"
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"maps"
	"path"
	"slices"
	"strings"
)

// Limits of a pack that is read: what is sent may be made to burst the reader.
const (
	mostFiles = 20_000
	mostBytes = 256 << 20
)

// Signature says who stands for a pack.
type Signature int

const (
	// Unsigned is a pack that nobody signed.
	Unsigned Signature = iota
	// Strange is a pack signed with a key that is not trusted, or altered since.
	Strange
	// Trusted is a pack signed with a key that is.
	Trusted
)

// Read reads a pack and checks it whole. What is wrong is named all at once: files
// that were altered, are missing or were put in. A signature is compared with the
// keys given; whether one is needed is the caller's to say.
func Read(r io.ReaderAt, size int64, trust ...ed25519.PublicKey) (*Pack, Signature, error) {
	archive, err := zip.NewReader(r, size)
	if err != nil {
		return nil, Unsigned, fmt.Errorf("is no pack: %w", err)
	}
	all, err := unpack(archive)
	if err != nil {
		return nil, Unsigned, err
	}
	p := New()
	for name, content := range all {
		if base := path.Base(name); base == sums || name == seal {
			continue
		}
		if err := p.Add(name, content); err != nil {
			return nil, Unsigned, err
		}
	}
	if err := p.compare(all); err != nil {
		return nil, Unsigned, err
	}
	return p, p.signature(all[seal], trust), nil
}

// unpack reads every file of an archive.
func unpack(archive *zip.Reader) (map[string][]byte, error) {
	if len(archive.File) > mostFiles {
		return nil, fmt.Errorf("holds %d files: at most %d are read", len(archive.File), mostFiles)
	}
	all := make(map[string][]byte, len(archive.File))
	left := int64(mostBytes)
	for _, f := range archive.File {
		if strings.HasSuffix(f.Name, "/") {
			return nil, fmt.Errorf("%q: a pack has no entries for folders", f.Name)
		}
		if _, twice := all[f.Name]; twice {
			return nil, fmt.Errorf("%s is in it twice", f.Name)
		}
		content, err := read(f, left)
		if err != nil {
			return nil, fmt.Errorf("%q: %w", f.Name, err)
		}
		left -= int64(len(content))
		all[f.Name] = content
	}
	return all, nil
}

func read(f *zip.File, most int64) ([]byte, error) {
	file, err := f.Open()
	if err != nil {
		return nil, err
	}
	content, err := io.ReadAll(io.LimitReader(file, most+1))
	if err != nil {
		return nil, err
	}
	if int64(len(content)) > most {
		return nil, fmt.Errorf("the pack holds more than %d MiB, which is the most that is read", mostBytes>>20)
	}
	return content, file.Close()
}

// compare holds the lists that came against those that the files make.
func (p *Pack) compare(all map[string][]byte) error {
	var faults []error
	lists := p.lists()
	for _, name := range slices.Sorted(maps.Keys(lists)) {
		came, there := all[name]
		if !there {
			faults = append(faults, fmt.Errorf("%s is missing", name))
			continue
		}
		faults = append(faults, differences(path.Dir(name), entriesOf(came), entriesOf(lists[name]))...)
		if len(faults) == 0 && string(came) != string(lists[name]) {
			faults = append(faults, fmt.Errorf("%s is not in the form of a list", name))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		if path.Base(name) == sums && lists[name] == nil {
			faults = append(faults, fmt.Errorf("%s lists files and none is there", name))
			faults = append(faults, differences(path.Dir(name), entriesOf(all[name]), nil)...)
		}
	}
	return errors.Join(faults...)
}

// differences names the files of a folder whose digests are not those listed.
func differences(folder string, listed, found map[string]string) []error {
	var faults []error
	for _, name := range slices.Sorted(maps.Keys(listed)) {
		switch sum, there := found[name]; {
		case !there:
			faults = append(faults, fmt.Errorf("%s is missing", path.Join(folder, name)))
		case sum != listed[name]:
			faults = append(faults, fmt.Errorf("%s was altered", path.Join(folder, name)))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(found)) {
		if _, there := listed[name]; !there {
			faults = append(faults, fmt.Errorf("%s was put in", path.Join(folder, name)))
		}
	}
	return faults
}

// entriesOf reads a list; what is no entry is no part of it.
func entriesOf(list []byte) map[string]string {
	entries := map[string]string{}
	for line := range strings.Lines(string(list)) {
		if sum, name, ok := strings.Cut(strings.TrimSuffix(line, "\n"), "  "); ok {
			entries[name] = sum
		}
	}
	return entries
}

func (p *Pack) signature(text []byte, trust []ed25519.PublicKey) Signature {
	if text == nil {
		return Unsigned
	}
	signature, err := base64.StdEncoding.DecodeString(strings.TrimSpace(string(text)))
	if err != nil {
		return Strange
	}
	for _, key := range trust {
		if ed25519.Verify(key, sealed(p.Digest()), signature) {
			return Trusted
		}
	}
	return Strange
}
