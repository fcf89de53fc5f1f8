package sqlite_test

import (
	"io"
	"math/rand/v2"
	"sync"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/vfs"
)

// sector is the least that a disk writes whole.
const sector = 512

// disk is a file system in memory whose power can fail. What was written and
// not synced survives at random, and some of it in part.
type disk struct {
	lock   sync.Mutex
	files  map[string]*platter
	random *rand.Rand
	left   int // operations until the power fails; negative for never
	fail   error
}

// platter is one file: what is durable, what the system would read, and the
// writes between the two, in order.
type platter struct {
	durable, current []byte
	pending          []pendingWrite
}

// pendingWrite is a write, or a truncation where data is nil.
type pendingWrite struct {
	offset int64
	data   []byte
}

func newDisk(seed uint64) *disk {
	return &disk{files: map[string]*platter{}, random: rand.New(rand.NewPCG(seed, 1)), left: -1}
}

// powerFailed is what the system sees once the power is gone.
var powerFailed = sqlite3.IOERR

// step counts an operation that changes the disk.
func (d *disk) step() error {
	if d.fail != nil {
		return d.fail
	}
	if d.left == 0 {
		return powerFailed
	}
	if d.left > 0 {
		d.left--
	}
	return nil
}

// reboot returns the disk as the next start finds it.
func (d *disk) reboot() {
	d.lock.Lock()
	defer d.lock.Unlock()
	for _, p := range d.files {
		image := append([]byte(nil), p.durable...)
		for _, w := range p.pending {
			switch d.random.IntN(4) {
			case 0, 1: // lost
			case 2:
				image = w.apply(image)
			case 3:
				image = w.torn(d.random).apply(image)
			}
		}
		p.durable, p.current, p.pending = image, append([]byte(nil), image...), nil
	}
	d.left = -1
}

// torn keeps a beginning or an end of a write, in whole sectors.
func (w pendingWrite) torn(random *rand.Rand) pendingWrite {
	if len(w.data) <= sector {
		return w
	}
	cut := (1 + random.IntN((len(w.data)-1)/sector)) * sector
	if random.IntN(2) == 0 {
		return pendingWrite{w.offset, w.data[:cut]}
	}
	return pendingWrite{w.offset + int64(cut), w.data[cut:]}
}

func (w pendingWrite) apply(image []byte) []byte {
	if w.data == nil {
		for int64(len(image)) < w.offset {
			image = append(image, 0)
		}
		return image[:w.offset]
	}
	if grow := int(w.offset) + len(w.data) - len(image); grow > 0 {
		image = append(image, make([]byte, grow)...)
	}
	copy(image[w.offset:], w.data)
	return image
}

// Open opens or makes a file. Making and removing files is durable at once.
func (d *disk) Open(name string, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	d.lock.Lock()
	defer d.lock.Unlock()
	p, ok := d.files[name]
	if !ok {
		if flags&vfs.OPEN_CREATE == 0 {
			return nil, flags, sqlite3.CANTOPEN
		}
		if err := d.step(); err != nil {
			return nil, flags, err
		}
		p = &platter{}
		if name != "" {
			d.files[name] = p
		}
	}
	return &handle{d, p}, flags, nil
}

// Delete removes a file.
func (d *disk) Delete(name string, _ bool) error {
	d.lock.Lock()
	defer d.lock.Unlock()
	if err := d.step(); err != nil {
		return err
	}
	delete(d.files, name)
	return nil
}

// Access reports whether a file is there.
func (d *disk) Access(name string, _ vfs.AccessFlag) (bool, error) {
	d.lock.Lock()
	defer d.lock.Unlock()
	_, ok := d.files[name]
	return ok, nil
}

// FullPathname returns name.
func (d *disk) FullPathname(name string) (string, error) { return name, nil }

// handle is an open file.
type handle struct {
	d *disk
	p *platter
}

func (h *handle) ReadAt(b []byte, off int64) (int, error) {
	h.d.lock.Lock()
	defer h.d.lock.Unlock()
	if off >= int64(len(h.p.current)) {
		return 0, io.EOF
	}
	n := copy(b, h.p.current[off:])
	if n < len(b) {
		return n, io.EOF
	}
	return n, nil
}

func (h *handle) change(w pendingWrite) error {
	h.d.lock.Lock()
	defer h.d.lock.Unlock()
	if err := h.d.step(); err != nil {
		return err
	}
	h.p.current = w.apply(h.p.current)
	h.p.pending = append(h.p.pending, w)
	return nil
}

func (h *handle) WriteAt(b []byte, off int64) (int, error) {
	if err := h.change(pendingWrite{off, append([]byte{}, b...)}); err != nil {
		return 0, err
	}
	return len(b), nil
}

func (h *handle) Truncate(size int64) error { return h.change(pendingWrite{offset: size}) }

func (h *handle) Sync(vfs.SyncFlag) error {
	h.d.lock.Lock()
	defer h.d.lock.Unlock()
	if err := h.d.step(); err != nil {
		return err
	}
	h.p.durable, h.p.pending = append([]byte(nil), h.p.current...), nil
	return nil
}

func (h *handle) Size() (int64, error) {
	h.d.lock.Lock()
	defer h.d.lock.Unlock()
	return int64(len(h.p.current)), nil
}

func (h *handle) Close() error                     { return nil }
func (h *handle) Lock(vfs.LockLevel) error         { return nil }
func (h *handle) Unlock(vfs.LockLevel) error       { return nil }
func (h *handle) CheckReservedLock() (bool, error) { return false, nil }
func (h *handle) SectorSize() int                  { return sector }

// DeviceCharacteristics are those of the system's own files: a sector that is
// not written is not harmed by its neighbour.
func (h *handle) DeviceCharacteristics() vfs.DeviceCharacteristic {
	return vfs.IOCAP_POWERSAFE_OVERWRITE
}
