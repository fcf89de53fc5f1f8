// Package pack writes and checks packs: one file that holds everything kept of a
// launch cycle, and that can be checked without a service.
//
// A pack is a ZIP archive. In every folder SHA256SUMS lists the files of that
// folder and, for each folder in it, that folder's SHA256SUMS, so that the sums
// form a tree: who holds the digest of the topmost SHA256SUMS can check the whole
// pack, and who holds that of one folder can check that folder alone. The lists
// are in the form that sha256sum reads, and need nothing but it:
//
//	unzip dawn-1.zip -d dawn-1 && cd dawn-1 && sha256sum -c SHA256SUMS
//	(cd cards && sha256sum -c SHA256SUMS)
//
// The same files make the same bytes. A pack may carry the Ed25519 signature
// (RFC 8032) of the site it comes from over its digest.
package pack

import (
	"archive/zip"
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
	"time"
)

const (
	// sums is the name of the list in every folder.
	sums = "SHA256SUMS"
	// seal is the name of the signature, the one file that no list names.
	seal = "SHA256SUMS.sig"
)

// Pack is files by their slash-separated paths, without the lists.
type Pack struct {
	files map[string][]byte
}

// New returns a pack without files.
func New() *Pack { return &Pack{files: map[string][]byte{}} }

// Add puts a file in. The path is relative, without dots, and not that of a list.
func (p *Pack) Add(name string, content []byte) error {
	if !sound(name) {
		return fmt.Errorf("%q is no path of a file in a pack", name)
	}
	if _, there := p.files[name]; there {
		return fmt.Errorf("%s is in the pack already", name)
	}
	p.files[name] = content
	return nil
}

// Names lists the files in order.
func (p *Pack) Names() []string { return slices.Sorted(maps.Keys(p.files)) }

// File returns what a file holds, and nil where there is none.
func (p *Pack) File(name string) []byte { return p.files[name] }

// sound reports whether a path may stand in a pack.
func sound(name string) bool {
	base := path.Base(name)
	return fs.ValidPath(name) && name != "." && base != sums && name != seal && !strings.ContainsAny(name, "\\\n\r\x00:")
}

// Digest is the digest of the topmost list, in hexadecimal digits.
func (p *Pack) Digest() string { return digest(p.lists()[sums]) }

// lists makes the list of every folder, deepest first because each names those
// below it.
func (p *Pack) lists() map[string][]byte {
	entries := map[string]map[string]string{".": {}} // folder, name below it, digest
	for name, content := range p.files {
		folder, base := path.Split(name)
		folder = path.Clean(folder)
		for at := folder; ; at = path.Dir(at) {
			if entries[at] == nil {
				entries[at] = map[string]string{}
			}
			if at == "." {
				break
			}
		}
		entries[folder][base] = digest(content)
	}
	folders := slices.SortedFunc(maps.Keys(entries), func(a, b string) int {
		if byDepth := depth(b) - depth(a); byDepth != 0 {
			return byDepth
		}
		return strings.Compare(a, b)
	})
	lists := map[string][]byte{}
	for _, folder := range folders {
		var list bytes.Buffer
		for _, name := range slices.Sorted(maps.Keys(entries[folder])) {
			fmt.Fprintf(&list, "%s  %s\n", entries[folder][name], name)
		}
		lists[path.Join(folder, sums)] = list.Bytes()
		if folder != "." {
			entries[path.Dir(folder)][path.Join(path.Base(folder), sums)] = digest(list.Bytes())
		}
	}
	return lists
}

func depth(folder string) int {
	if folder == "." {
		return 0
	}
	return strings.Count(folder, "/") + 1
}

func digest(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

// sealed is what the signature is over.
func sealed(digest string) []byte { return []byte("bowroll pack 1\n" + digest + "\n") }

// Write writes the pack, signed where a key is given.
func (p *Pack) Write(w io.Writer, key ed25519.PrivateKey) error {
	all := p.lists()
	if key != nil {
		signature := ed25519.Sign(key, sealed(digest(all[sums])))
		all[seal] = []byte(base64.StdEncoding.EncodeToString(signature) + "\n")
	}
	maps.Copy(all, p.files)
	out := zip.NewWriter(w)
	for _, name := range slices.Sorted(maps.Keys(all)) {
		// The earliest time that the format has: when it was written is no part
		// of what it says.
		file, err := out.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)})
		if err != nil {
			return err
		}
		if _, err := file.Write(all[name]); err != nil {
			return err
		}
	}
	return out.Close()
}
