package dimse

import (
	"bufio"
	"bytes"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"syscall"
)

// Spool is the folder in which objects lie until they are recorded: whole, and on
// the disk before they are acknowledged.
type Spool struct {
	Dir string
	// Check looks at a whole file and gives the study it is of, a UID, by which files
	// wait together. A file that it refuses goes to the quarantine.
	Check func(path string) (study string, status Status, err error)
}

// Folders below the spool.
const (
	arriving   = ".arriving"
	Quarantine = "quarantine"
	Waiting    = "waiting"
)

// Make makes the folders, and takes out what a crash left half.
func (s *Spool) Make() error {
	for _, name := range []string{arriving, Quarantine, Waiting} {
		if err := os.MkdirAll(filepath.Join(s.Dir, name), 0o700); err != nil {
			return err
		}
	}
	half, err := filepath.Glob(filepath.Join(s.Dir, arriving, "*"))
	for _, name := range half {
		err = errors.Join(err, os.Remove(name))
	}
	return err
}

// object is what a C-STORE says of what comes.
type object struct {
	class, instance, transfer, from string
	most                            int64
}

// incoming is an object that arrives.
type incoming struct {
	object
	spool *Spool
	file  *os.File
	out   *bufio.Writer
	size  int64
	err   error
}

func (s *Spool) begin(o object) *incoming {
	in := &incoming{object: o, spool: s}
	in.file, in.err = os.OpenFile(filepath.Join(s.Dir, arriving, o.instance+"-"+rand.Text()[:8]), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if in.err == nil {
		in.out = bufio.NewWriterSize(in.file, 128<<10)
		_, in.err = in.out.Write(o.meta())
	}
	return in
}

func (in *incoming) write(b []byte) {
	if in.size += int64(len(b)); in.size > in.most && in.err == nil {
		in.err = syscall.EFBIG
	}
	if in.err == nil {
		_, in.err = in.out.Write(b)
	}
}

// drop takes out what has not arrived whole.
func (in *incoming) drop() {
	if in.file != nil {
		in.file.Close()
		os.Remove(in.file.Name())
	}
}

// finish brings the object to the disk and gives it its name; only then it may be
// acknowledged.
func (in *incoming) finish(asAgreed bool) Status {
	if in.err == nil {
		in.err = errors.Join(in.out.Flush(), in.file.Sync(), in.file.Close())
	}
	if in.err != nil {
		in.drop()
		return OutOfResources
	}
	name, folder := in.file.Name(), Quarantine
	study, status, err := "", DoesNotMatch, errors.New("another SOP class than was agreed")
	if asAgreed {
		study, status, err = in.spool.Check(name)
	}
	switch {
	case err != nil:
		in.reason(err)
	case isUID(study):
		folder = filepath.Join(Waiting, study)
	default:
		folder = filepath.Join(Waiting, "unknown")
	}
	to := filepath.Join(in.spool.Dir, folder, filepath.Base(name)+".dcm")
	err = errors.Join(os.MkdirAll(filepath.Dir(to), 0o700), os.Rename(name, to), syncDir(filepath.Dir(to)), syncDir(filepath.Join(in.spool.Dir, Waiting)))
	if err != nil {
		return OutOfResources
	}
	return status
}

// reason puts what was wrong beside a file of the quarantine. That it cannot be
// written changes nothing for the peer.
func (in *incoming) reason(err error) {
	name := filepath.Join(in.spool.Dir, Quarantine, filepath.Base(in.file.Name())+".reason")
	_ = os.WriteFile(name, []byte(err.Error()+"\n"), 0o600)
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// meta is the file meta information (PS3.10 section 7.1).
func (o object) meta() []byte {
	var group bytes.Buffer
	add := func(element uint16, vr string, value []byte, pad byte) {
		if len(value)%2 == 1 {
			value = append(value, pad)
		}
		head := binary.LittleEndian.AppendUint16([]byte{2, 0}, element)
		head = append(head, vr...)
		if vr == "OB" {
			head = binary.LittleEndian.AppendUint32(append(head, 0, 0), uint32(len(value)))
		} else {
			head = binary.LittleEndian.AppendUint16(head, uint16(len(value)))
		}
		group.Write(append(head, value...))
	}
	add(0x0001, "OB", []byte{0, 1}, 0)
	add(0x0002, "UI", []byte(o.class), 0)
	add(0x0003, "UI", []byte(o.instance), 0)
	add(0x0010, "UI", []byte(o.transfer), 0)
	add(0x0012, "UI", []byte(implementationClass), 0)
	add(0x0013, "SH", []byte(implementationName), ' ')
	add(0x0016, "AE", []byte(o.from), ' ')
	out := append(make([]byte, 128), "DICM"...)
	out = append(out, 2, 0, 0, 0, 'U', 'L', 4, 0)
	out = binary.LittleEndian.AppendUint32(out, uint32(group.Len()))
	return append(out, group.Bytes()...)
}
