package disk_test

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"echotally/internal/disk"
)

func open(t *testing.T, name string) (*disk.Lines, []string) {
	t.Helper()
	var has []string
	l, err := disk.OpenLines(name, func(line string) { has = append(has, line) })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() }) // again where the test has closed it
	return l, has
}

// TestLinesOutliveACrash at every byte of the last: those before are whole, what is added
// after is not joined to what was cut.
func TestLinesOutliveACrash(t *testing.T) {
	name := filepath.Join(t.TempDir(), "lines")
	const last = "third line"
	for cut := range len(last) + 1 {
		if err := os.WriteFile(name, []byte("first\nsecond\n"+last[:cut]), 0o600); err != nil {
			t.Fatal(err)
		}
		l, has := open(t, name)
		if !slices.Equal(has, []string{"first", "second"}) || l.Count() != 2 {
			t.Errorf("cut after %d: %q", cut, has)
		}
		if err := errors.Join(l.Add("fourth"), l.Close()); err != nil {
			t.Fatal(err)
		}
		if _, has = open(t, name); !slices.Equal(has, []string{"first", "second", "fourth"}) {
			t.Errorf("cut after %d, then one added: %q", cut, has)
		}
	}
}

// TestLinesAreReplaced: as a whole, and what is added then comes after them.
func TestLinesAreReplaced(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "lines")
	l, _ := open(t, name)
	if err := errors.Join(l.Add("a"), l.Add("b"), l.Replace([]string{"c"}), l.Add("d"), l.Close()); err != nil {
		t.Fatal(err)
	}
	if l, has := open(t, name); !slices.Equal(has, []string{"c", "d"}) || l.Count() != 2 {
		t.Errorf("%q", has)
	}
	if all, err := os.ReadDir(dir); err != nil || len(all) != 1 {
		t.Errorf("%v, %v", all, err)
	}
	if _, err := disk.OpenLines(os.DevNull, func(string) {}); !errors.Is(err, fs.ErrInvalid) {
		t.Errorf("a device: %v", err)
	}
}

// TestALineThatFindsNoRoomLeavesNothing: with a limit on the size of files, as a full
// disk, the lines before are whole and later ones can be added.
func TestALineThatFindsNoRoomLeavesNothing(t *testing.T) {
	if name := os.Getenv("LINES_OF_THE_TEST"); name != "" {
		l, _ := open(t, name)
		if err := l.Add("too long for the room that is left"); err == nil {
			t.Error("added without room")
		}
		if err := l.Add("short"); err != nil {
			t.Error(err)
		}
		return
	}
	name := filepath.Join(t.TempDir(), "lines")
	if err := os.WriteFile(name, append(make([]byte, 1000), "\nfirst\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := exec.LookPath("prlimit"); err != nil {
		t.Skip("prlimit is not installed: no limit was set")
	}
	again := exec.Command("prlimit", "--fsize=1024", os.Args[0], "-test.run=^"+t.Name()+"$")
	again.Env = append(os.Environ(), "LINES_OF_THE_TEST="+name)
	if out, err := again.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if _, has := open(t, name); !slices.Equal(has[1:], []string{"first", "short"}) {
		t.Errorf("%q", has[1:])
	}
}

// TestAFileIsWrittenWholeOrNotAtAll: one that cannot be written leaves what was there,
// and nothing beside it.
func TestAFileIsWrittenWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "file")
	if err := errors.Join(disk.Write(name, []byte("one")), disk.Write(name, []byte("two"))); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "folder"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := disk.Write(filepath.Join(dir, "folder"), nil); err == nil {
		t.Error("a folder was replaced by a file")
	}
	if err := disk.Write(filepath.Join(dir, "none", "file"), nil); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v", err)
	}
	b, err := os.ReadFile(name)
	all, _ := os.ReadDir(dir)
	if err != nil || string(b) != "two" || len(all) != 2 {
		t.Errorf("%s, %v, %v", b, all, err)
	}
	if info, err := os.Stat(name); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
}

// TestOneHasALock: another process finds it in use, until the first releases it or is
// killed.
func TestOneHasALock(t *testing.T) {
	if name := os.Getenv("LOCK_OF_THE_TEST"); name != "" {
		release, err := disk.Lock(name)
		if err != nil {
			os.Exit(3)
		}
		os.Stdout.WriteString("locked\n")
		time.Sleep(time.Hour) // until it is killed; with nothing to wait for, it would end as a deadlock
		_ = release()
	}
	name := filepath.Join(t.TempDir(), "lock")
	other := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$")
	other.Env = append(os.Environ(), "LOCK_OF_THE_TEST="+name)
	out, err := other.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := out.Read(make([]byte, 1)); err != nil {
		t.Fatal(err)
	}
	if _, err := disk.Lock(name); !errors.Is(err, disk.ErrInUse) {
		t.Errorf("%v", err)
	}
	if err := other.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	_ = other.Wait()
	release, err := disk.Lock(name)
	if err != nil {
		t.Fatalf("after the other was killed: %v", err)
	}
	if _, err := disk.Lock(name); !errors.Is(err, disk.ErrInUse) {
		t.Errorf("%v", err)
	}
	if err := release(); err != nil {
		t.Fatal(err)
	}
	if release, err = disk.Lock(name); err != nil || release() != nil {
		t.Errorf("after it was released: %v", err)
	}
}
