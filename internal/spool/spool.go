// Package spool owns the folder in which objects lie from when they are received until
// they are recorded: whole, on the disk before they are acknowledged, each looked at,
// what cannot be read kept apart with the reason. It knows neither networks nor what is
// in an object.
package spool

import (
	"bufio"
	"crypto/rand"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"

	"echotally/internal/disk"
	"echotally/internal/identifier"
	"echotally/internal/spool/quarantine"
)

// Status is what a sender is told of an object: the statuses of C-STORE (PS3.4 annex
// B.2.3, PS3.7 annex C), which are the failure reasons of a store over the web too
// (PS3.18 section I.2.2).
type Status uint16

// Statuses.
const (
	Success           Status = 0x0000
	ClassNotSupported Status = 0x0122
	OutOfResources    Status = 0xA700
	DoesNotMatch      Status = 0xA900 // the data set is not what was agreed
	CannotUnderstand  Status = 0xC000
)

// Identity is what an object says that it is.
type Identity struct{ Class, Instance, Study string }

// Spool is such a folder.
type Spool struct {
	Dir string
	// Check looks at a whole file. One that it refuses goes to the quarantine; of one
	// that it takes, files of the same study wait together.
	Check func(path string) (Identity, Status, error)
	// Apart is told of the file of an object that was put into the quarantine, and why;
	// nil for nobody. Several may come at a time.
	Apart func(name string, reason error)

	arriving string
	making   sync.Mutex // of a folder
	locks    []func() error
}

// Folders below the spool.
const (
	arriving = ".arriving"
	apart    = "quarantine"
	waiting  = "waiting"
	recorded = "recorded"
)

// Waiting is the folder of what waits, one folder below it for each study.
func (s *Spool) Waiting() string { return filepath.Join(s.Dir, waiting) }

// Quarantine is the folder of what could not be read.
func (s *Spool) Quarantine() string { return filepath.Join(s.Dir, apart) }

// Recorded is the folder for what is recorded.
func (s *Spool) Recorded() string { return filepath.Join(s.Dir, recorded) }

// Make makes the folders, and takes out what a crash of the same receiver left half. A
// receiver may be there once only: another process finds a [disk.ErrInUse].
func (s *Spool) Make(receiver string) error {
	s.arriving = filepath.Join(s.Dir, arriving, receiver)
	for _, name := range []string{s.arriving, s.Quarantine(), s.Waiting()} {
		if err := os.MkdirAll(name, 0o700); err != nil {
			return err
		}
	}
	if err := s.lock(filepath.Join(s.Dir, "."+receiver+".lock")); err != nil {
		return err
	}
	if err := disk.SyncFolder(s.Waiting()); err != nil { // a crash may have come before it
		return err
	}
	half, err := filepath.Glob(filepath.Join(s.arriving, "*"))
	for _, name := range half {
		err = errors.Join(err, os.Remove(name))
	}
	return err
}

// Record makes ready to record what waits and to move it away, which one process may do
// at a time: another finds a [disk.ErrInUse].
func (s *Spool) Record() error { return s.lock(filepath.Join(s.Dir, ".recording.lock")) }

func (s *Spool) lock(path string) error {
	release, err := disk.Lock(path)
	if err == nil {
		s.locks = append(s.locks, release)
	}
	return err
}

// Close lets others have the spool.
func (s *Spool) Close() error {
	var err error
	for _, release := range s.locks {
		err = errors.Join(err, release())
	}
	s.locks = nil
	return err
}

// Incoming is an object that arrives. A fault on the way is kept until Finish.
type Incoming struct {
	spool *Spool
	file  *os.File
	out   *bufio.Writer
	size  int64
	most  int64
	err   error
}

// Begin makes place for an object of at most so many bytes.
func (s *Spool) Begin(most int64) *Incoming {
	in := &Incoming{spool: s, most: most}
	in.file, in.err = os.OpenFile(filepath.Join(s.arriving, rand.Text()[:16]), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if in.err == nil {
		in.out = bufio.NewWriterSize(in.file, 128<<10)
	}
	return in
}

// Write takes the next bytes of the file. It never fails, so that what is of no use
// any more can be read to its end: Finish tells.
func (in *Incoming) Write(b []byte) (int, error) {
	if in.size += int64(len(b)); in.size > in.most && in.err == nil {
		in.err = syscall.EFBIG
	}
	if in.err == nil {
		_, in.err = in.out.Write(b)
	}
	return len(b), nil
}

// Drop takes out what has not arrived whole.
func (in *Incoming) Drop() {
	if in.file != nil {
		in.file.Close()
		os.Remove(in.file.Name())
	}
}

// Finish brings the object to the disk and gives it its name; only a sender that is
// told Success after that may be told that the object is stored. Agreed says whether
// the object is what was agreed on with the sender; one of a class that is not taken
// is not kept.
func (in *Incoming) Finish(agreed func(Identity) (Status, error)) (Identity, Status) {
	if in.err == nil {
		in.err = errors.Join(in.out.Flush(), in.file.Sync(), in.file.Close())
	}
	if in.err != nil {
		in.Drop()
		return Identity{}, OutOfResources
	}
	is, status, err := in.spool.Check(in.file.Name())
	if err == nil {
		status, err = agreed(is)
	}
	folder, name := waiting, filepath.Base(in.file.Name())
	if identifier.IsUID(is.Instance) {
		name = is.Instance + "-" + name
	}
	switch {
	case status == ClassNotSupported || status == OutOfResources:
		in.Drop()
		return is, status
	case err != nil:
		folder = apart
		quarantine.Folder(in.spool.Quarantine()).Expect(name, in.file.Name(), err)
	case identifier.IsUID(is.Study):
		folder = filepath.Join(waiting, is.Study)
	default:
		folder = filepath.Join(waiting, "unknown")
	}
	if err := in.name(filepath.Join(in.spool.Dir, folder), name+".dcm"); err != nil {
		in.Drop()
		return is, OutOfResources
	}
	if folder == apart && in.spool.Apart != nil {
		in.spool.Apart(name+".dcm", err)
	}
	return is, status
}

// name moves the object to its folder, which may be taken away while it is empty.
func (in *Incoming) name(folder, name string) error {
	for try := 1; ; try++ {
		err := in.spool.folder(folder)
		if err == nil {
			err = os.Rename(in.file.Name(), filepath.Join(folder, name))
		}
		if errors.Is(err, fs.ErrNotExist) && try < 100 {
			continue
		}
		return errors.Join(err, disk.SyncFolder(folder))
	}
}

// folder makes a folder where it is not there, and brings its name to the disk before
// anybody puts something into it: who finds it has to bring only what is in it there.
func (s *Spool) folder(dir string) error {
	s.making.Lock()
	defer s.making.Unlock()
	err := os.Mkdir(dir, 0o700)
	switch {
	case errors.Is(err, fs.ErrExist):
		return nil
	case errors.Is(err, fs.ErrNotExist): // somebody took away more
		err = os.MkdirAll(dir, 0o700)
	}
	if err == nil {
		err = disk.SyncFolder(filepath.Dir(dir))
	}
	if err != nil {
		os.Remove(dir) // or the next would take it for one that is on the disk
	}
	return err
}
