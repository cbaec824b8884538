package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
)

func say(text string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, text); return err }
}

func failing(w io.Writer) error { return errors.Join(say("half")(w), errors.New("no more")) }

func TestFileGetsItsNameWhenItIsWhole(t *testing.T) {
	a, dir := testApp(), t.TempDir()
	file, link := filepath.Join(dir, "file"), filepath.Join(dir, "link")
	holds := func(want string) {
		t.Helper()
		if got, _ := os.ReadFile(file); string(got) != want {
			t.Errorf("the file holds %q, want %q", got, want)
		}
	}
	if err := a.write(file, newFile, failing); err == nil {
		t.Error("a failed document was taken for whole")
	}
	holds("")
	if err := a.write(file, newFile, say("first")); err != nil {
		t.Fatal(err)
	}
	holds("first")
	if err := os.Chmod(file, 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("file", link); err != nil {
		t.Fatal(err)
	}
	if err := a.write(link, newFile, failing); err == nil {
		t.Error("a failed document was taken for whole")
	}
	holds("first")
	if err := a.write(link, newFile, say("second")); err != nil {
		t.Fatal(err)
	}
	holds("second")
	info, err := os.Stat(file)
	entries, _ := os.ReadDir(dir)
	if err != nil || info.Mode().Perm() != 0o640 || len(entries) != 2 {
		t.Errorf("mode %v, %d entries, error %v", info.Mode(), len(entries), err)
	}
	a.unfinished.giveUp()
	if err := a.write(file, newFile, say("late")); err == nil {
		t.Error("a file got its name after the command was given up")
	}
	holds("second")
}

func TestDeviceIsWrittenToAsItIs(t *testing.T) {
	a := testApp()
	before, err := os.Stat(os.DevNull)
	if err != nil {
		t.Skip("no ", os.DevNull)
	}
	if err := errors.Join(a.write(os.DevNull, newFile, say("words")), a.write(os.DevNull, newFile, failing)); err == nil {
		t.Error("the failed document was taken for whole")
	}
	if after, err := os.Stat(os.DevNull); err != nil || !os.SameFile(before, after) {
		t.Errorf("%s is another file now: %v", os.DevNull, err)
	}
}

func TestFolderIsFilledWholeOrNotAtAll(t *testing.T) {
	a, dir := testApp(), filepath.Join(t.TempDir(), "new")
	fill := func(dir string) error { return os.WriteFile(filepath.Join(dir, "one"), []byte("1"), 0o644) }
	if err := a.fill(dir, func(dir string) error { return errors.Join(fill(dir), errors.New("no more")) }); err == nil {
		t.Error("a failed folder was taken for whole")
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("the folder is there although writing it failed")
	}
	if err := a.fill(dir, fill); err != nil {
		t.Fatal(err)
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 || entries[0].Name() != "one" {
		t.Errorf("%v, %v", entries, err)
	}
	if err := a.fill(dir, fill); err == nil {
		t.Error("a folder that holds something was written to")
	}
}

// Somebody else puts a folder in the place of a file meanwhile: what was moved
// before it goes again.
func TestFolderWithAMemberThatHasNoPlaceIsNotFilled(t *testing.T) {
	a, dir := testApp(), t.TempDir()
	err := a.fill(dir, func(part string) error {
		return errors.Join(
			os.WriteFile(filepath.Join(part, "one"), []byte("1"), 0o644), os.WriteFile(filepath.Join(part, "two"), []byte("2"), 0o644),
			os.Mkdir(filepath.Join(dir, "two"), 0o755))
	})
	if err == nil {
		t.Error("a folder that lacks a member was taken for whole")
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 1 || entries[0].Name() != "two" {
		t.Errorf("%v, %v", entries, err)
	}
}
