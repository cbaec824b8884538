package watch

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// TestFilesAreLeftUntilTheyAreAtRest moves the time a file was seen back
// instead of waiting.
func TestFilesAreLeftUntilTheyAreAtRest(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "a.dcm")
	w := watching{Folder: Folder{Dir: dir, Settle: time.Minute}, files: map[string]*watched{}, add: func(string) error { return nil }}
	look := func(what string, ready []string, waiting bool) {
		t.Helper()
		got, wait, err := w.look()
		if err != nil || !slices.Equal(got, ready) || wait != waiting {
			t.Errorf("%s: ready %v, waiting %v, %v", what, got, wait, err)
		}
	}
	older := func() { w.files[file].since = w.files[file].since.Add(-time.Hour) }
	put := func(content string) {
		t.Helper()
		if err := os.WriteFile(file, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	look("nothing there", nil, false)
	put("half")
	look("just seen", nil, true)
	older()
	put("half and more")
	look("still being written", nil, true)
	older()
	look("at rest", []string{file}, false)
	look("handed over once", nil, false)
	put("written again, longer")
	look("changed", nil, true)
	older()
	look("at rest again", []string{file}, false)
	for _, name := range []string{".hidden", ".folder/b.dcm"} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	look("hidden files and folders", nil, false)
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	look("gone", nil, false)
	if len(w.files) > 0 {
		t.Errorf("%d files are remembered", len(w.files))
	}
}

func TestWatchEndsWithItsContext(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "deep"), 0o755); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	handed := make(chan []string, 10)
	ended := make(chan error)
	w := Folder{Dir: dir, Settle: time.Millisecond, Rescan: time.Hour}
	go func() { ended <- w.Run(ctx, func(files []string) error { handed <- files; return nil }) }()
	if err := os.WriteFile(filepath.Join(dir, "first.dcm"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if files := <-handed; len(files) != 1 || filepath.Base(files[0]) != "first.dcm" {
		t.Errorf("handed over %v", files)
	}
	// The next is noticed by notification alone: the rescan is an hour away.
	if err := os.WriteFile(filepath.Join(dir, "deep", "second.dcm"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if files := <-handed; len(files) != 1 || filepath.Base(files[0]) != "second.dcm" {
		t.Errorf("handed over %v", files)
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if err := (Folder{Dir: filepath.Join(dir, "nowhere")}).Run(context.Background(), nil); err == nil {
		t.Error("a folder that is not there was watched")
	}
}

// TestALinkThatIsGivenIsWatched: a link to a folder is followed when it is what was given.
func TestALinkThatIsGivenIsWatched(t *testing.T) {
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "lab", "a"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"a/1.dcm", ".hidden"} {
		if err := os.WriteFile(filepath.Join(dir, "lab", filepath.FromSlash(name)), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	link := filepath.Join(dir, "link")
	if err := os.Symlink("lab", link); err != nil {
		t.Skip("no symbolic links here")
	}
	w := watching{Folder: Folder{Dir: link}, files: map[string]*watched{}, add: func(string) error { return nil }}
	if ready, _, err := w.look(); err != nil || len(ready) != 1 || filepath.ToSlash(ready[0]) != filepath.ToSlash(link)+"/a/1.dcm" {
		t.Errorf("watched: %v, %v", ready, err)
	}
}
