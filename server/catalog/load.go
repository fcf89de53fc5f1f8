package catalog

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"regexp"
	"strconv"
	"strings"

	"buf.build/go/protovalidate"
	"go.yaml.in/yaml/v3"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Limits on what a folder may hold: far above any real catalog, so that a wrong
// folder is refused before it fills the memory.
const (
	maxFiles     = 1000
	maxFileBytes = 1 << 20
)

// Load reads every .yaml and .yml file of a folder and the folders below it. It
// returns [Faults] with everything that is wrong with any of them, or the error
// that kept it from reading the folder. Other files are left alone; names that
// begin with a dot are passed over.
func Load(fsys fs.FS, validator protovalidate.Validator) (*Snapshot, error) {
	l := &loader{validator: validator, first: map[string]string{}}
	files := 0
	err := fs.WalkDir(fsys, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if strings.HasPrefix(entry.Name(), ".") && name != "." {
			if entry.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if ext := path.Ext(name); entry.IsDir() || (ext != ".yaml" && ext != ".yml") {
			return nil
		}
		if files++; files > maxFiles {
			return fmt.Errorf("more than %d files: is this the catalog's folder?", maxFiles)
		}
		return l.file(fsys, name)
	})
	if err != nil {
		return nil, fmt.Errorf("read the catalog: %w", err)
	}
	if files == 0 {
		return nil, errors.New("read the catalog: the folder holds no .yaml file")
	}
	return l.snapshot()
}

// loader gathers the items of all files, and where each came from.
type loader struct {
	validator protovalidate.Validator
	faults    Faults
	items     []item
	first     map[string]string // where each name was first given

	aircraft []*bowrollv1.AircraftType
	boosters []*bowrollv1.BoosterType
	sites    []*bowrollv1.Site
	decks    []*bowrollv1.Deck
}

// item is one resource, its place, and the decoder that knows the places of its
// fields.
type item struct {
	resource resource
	path     string
	from     *decoder
}

// sections are the lists that a file may hold.
var sections = []string{"aircraft_types", "booster_types", "sites", "decks"}

// file reads one file. Only an error of the file system is returned; what is
// wrong with the content becomes faults.
func (l *loader) file(fsys fs.FS, name string) error {
	info, err := fs.Stat(fsys, name)
	if err != nil {
		return err
	}
	d := newDecoder(name)
	defer func() { l.faults = append(l.faults, d.faults...) }()
	if info.Size() > maxFileBytes {
		d.fault(place{}, &bowrollv1.Violation{Value: fmt.Sprintf("%d bytes long", info.Size()), Rule: "size", Allowed: fmt.Sprintf("at most %d", maxFileBytes), Hint: "divide the file"})
		return nil
	}
	data, err := fs.ReadFile(fsys, name)
	if err != nil {
		return err
	}
	l.document(d, data)
	return nil
}

// document reads the one document that a file may hold.
func (l *loader) document(d *decoder, data []byte) {
	reader := yaml.NewDecoder(bytes.NewReader(data))
	var document yaml.Node
	switch err := reader.Decode(&document); {
	case errors.Is(err, io.EOF):
		d.fault(place{1, 1}, &bowrollv1.Violation{Value: "empty", Rule: "empty", Hint: "give at least one of " + strings.Join(sections, ", ")})
		return
	case err != nil:
		d.fault(syntaxPlace(err), &bowrollv1.Violation{Rule: "syntax", Hint: "not YAML: " + syntaxMessage(err)})
		return
	}
	var second yaml.Node
	if err := reader.Decode(&second); err == nil {
		d.fault(placeOf(&second), &bowrollv1.Violation{Value: "a second document", Rule: "documents", Hint: "put it into a file of its own"})
	} else if !errors.Is(err, io.EOF) {
		d.fault(syntaxPlace(err), &bowrollv1.Violation{Rule: "syntax", Hint: "not YAML: " + syntaxMessage(err)})
	}
	if len(document.Content) != 1 {
		return
	}
	root := document.Content[0]
	if !d.plain(root, "") {
		return
	}
	if root.Kind != yaml.MappingNode {
		d.fault(placeOf(root), &bowrollv1.Violation{Value: kindName(root), Rule: "type", Allowed: "keys with lists", Hint: "the keys are " + strings.Join(sections, ", ")})
		return
	}
	d.pairs(root, "", func(key, value *yaml.Node, path string) { l.section(d, key, value, path) })
}

// section reads one list of items.
func (l *loader) section(d *decoder, key, value *yaml.Node, path string) {
	var fresh func() resource
	switch key.Value {
	case "aircraft_types":
		fresh = func() resource { return &bowrollv1.AircraftType{} }
	case "booster_types":
		fresh = func() resource { return &bowrollv1.BoosterType{} }
	case "sites":
		fresh = func() resource { return &bowrollv1.Site{} }
	case "decks":
		fresh = func() resource { return &bowrollv1.Deck{} }
	default:
		d.unknownKey(key, path, sections)
		return
	}
	d.places[path] = placeOf(value)
	if !d.plain(value, path) {
		return
	}
	if value.Kind != yaml.SequenceNode {
		d.fault(placeOf(value), &bowrollv1.Violation{Field: path, Value: kindName(value), Rule: "type", Allowed: "a list"})
		return
	}
	for i, node := range value.Content {
		it := item{resource: fresh(), path: path + "[" + strconv.Itoa(i) + "]", from: d}
		d.message(node, it.path, it.resource.ProtoReflect())
		l.items = append(l.items, it)
	}
}

var syntaxLine = regexp.MustCompile(`line ([0-9]+): `)

// syntaxPlace is the line that the reader of YAML names in its message.
func syntaxPlace(err error) place {
	if m := syntaxLine.FindStringSubmatch(err.Error()); m != nil {
		if line, err := strconv.Atoi(m[1]); err == nil {
			return place{line, 1}
		}
	}
	return place{1, 1}
}

func syntaxMessage(err error) string {
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	text = syntaxLine.ReplaceAllString(text, "")
	return shorten(strings.Join(strings.Fields(text), " "))
}
