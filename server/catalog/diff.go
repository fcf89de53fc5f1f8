package catalog

import (
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Diff says what differs between two snapshots, by kind and name.
func Diff(before, after *Snapshot) []*bowrollv1.ResourceDiff {
	var list []*bowrollv1.ResourceDiff
	list = append(list, diffKind(before.aircraft, after.aircraft)...)
	list = append(list, diffKind(before.boosters, after.boosters)...)
	list = append(list, diffKind(before.sites, after.sites)...)
	return append(list, diffKind(before.decks, after.decks)...)
}

func diffKind[T resource](before, after kind[T]) []*bowrollv1.ResourceDiff {
	names := slices.Concat(before.names(), after.names())
	slices.Sort(names)
	var list []*bowrollv1.ResourceDiff
	for _, name := range slices.Compact(names) {
		was, had := before.byName[name]
		is, has := after.byName[name]
		switch {
		case !had:
			list = append(list, &bowrollv1.ResourceDiff{Name: name, Kind: bowrollv1.DiffKind_DIFF_KIND_ADDED})
		case !has:
			list = append(list, &bowrollv1.ResourceDiff{Name: name, Kind: bowrollv1.DiffKind_DIFF_KIND_REMOVED})
		case !proto.Equal(was, is):
			var d differ
			d.message("", was.ProtoReflect(), is.ProtoReflect())
			list = append(list, &bowrollv1.ResourceDiff{Name: name, Kind: bowrollv1.DiffKind_DIFF_KIND_CHANGED, Fields: d.fields})
		}
	}
	return list
}

// differ gathers the fields that differ.
type differ struct{ fields []*bowrollv1.FieldDiff }

func (d *differ) add(path, before, after string) {
	d.fields = append(d.fields, &bowrollv1.FieldDiff{Field: path, Before: before, After: after})
}

func (d *differ) message(path string, before, after protoreflect.Message) {
	fields := before.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		inner := string(fd.Name())
		if path != "" {
			inner = path + "." + inner
		}
		switch {
		case !before.Has(fd) && !after.Has(fd):
		case fd.IsList():
			d.list(inner, fd, before.Get(fd).List(), after.Get(fd).List())
		case fd.Message() != nil && before.Has(fd) && after.Has(fd):
			d.message(inner, before.Get(fd).Message(), after.Get(fd).Message())
		default:
			d.value(inner, fieldText(before, fd), fieldText(after, fd))
		}
	}
}

func (d *differ) list(path string, fd protoreflect.FieldDescriptor, before, after protoreflect.List) {
	for i := range max(before.Len(), after.Len()) {
		inner := path + "[" + strconv.Itoa(i) + "]"
		if i < before.Len() && i < after.Len() && fd.Message() != nil {
			d.message(inner, before.Get(i).Message(), after.Get(i).Message())
			continue
		}
		was, is := "", ""
		if i < before.Len() {
			was = valueText(fd, before.Get(i))
		}
		if i < after.Len() {
			is = valueText(fd, after.Get(i))
		}
		d.value(inner, was, is)
	}
}

func (d *differ) value(path, before, after string) {
	if before != after {
		d.add(path, before, after)
	}
}

// fieldText is a field as text, "" where it is absent.
func fieldText(m protoreflect.Message, fd protoreflect.FieldDescriptor) string {
	if !m.Has(fd) {
		return ""
	}
	return valueText(fd, m.Get(fd))
}

// valueText is one value as the catalog's files write it.
func valueText(fd protoreflect.FieldDescriptor, v protoreflect.Value) string {
	return flow(valueNode(fd, v))
}
