package intake

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"
)

// part10 is the shortest content that looks like a DICOM file.
var part10 = append(make([]byte, 128), "DICM"...)

func write(t *testing.T, dir string, files map[string][]byte) {
	t.Helper()
	for name, content := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func zipOf(t *testing.T, add func(*zip.Writer)) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	add(z)
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func entry(t *testing.T, z *zip.Writer, name string, content []byte) {
	t.Helper()
	w, err := z.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(content); err != nil {
		t.Fatal(err)
	}
}

// lines gives "path: reason" for each object, relative to dir.
func lines(t *testing.T, dir string, paths ...string) []string {
	t.Helper()
	b, err := Find(context.Background(), paths, nil, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	var out []string
	for _, o := range b.Objects {
		reason := o.Reason
		if reason == "" {
			reason = "to read"
		}
		out = append(out, strings.TrimPrefix(o.Path, filepath.ToSlash(dir)+"/")+": "+reason)
	}
	return out
}

func TestFolderIsListedInOrderAndNothingIsDropped(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, map[string][]byte{
		"b.dcm": part10, "a/2.dcm": part10, "a/1.dcm": part10, ".hidden": part10,
		".git/config": nil, "DICOMDIR": part10, "notes.txt": []byte("text"),
	})
	if err := os.Symlink(filepath.Join(dir, "b.dcm"), filepath.Join(dir, "link.dcm")); err != nil {
		t.Skip("no symbolic links here")
	}
	want := []string{
		".git: hidden folder, not entered",
		".hidden: hidden file",
		"DICOMDIR: index of the medium (DICOMDIR), holds no measurements",
		"a/1.dcm: to read", "a/2.dcm: to read", "b.dcm: to read",
		"link.dcm: symbolic link, not followed",
		"notes.txt: to read",
	}
	if diff := cmp.Diff(want, lines(t, dir, dir)); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(want, lines(t, dir, filepath.Join(dir, "b.dcm"), dir, dir+"/a")); diff != "" {
		t.Error("overlapping paths: ", diff)
	}
}

// A link to a folder is followed when it is what was given.
func TestALinkThatIsGivenIsFollowed(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, map[string][]byte{"lab/a/1.dcm": part10, "lab/.hidden": part10})
	link := filepath.Join(dir, "link")
	if err := os.Symlink("lab", link); err != nil {
		t.Skip("no symbolic links here")
	}
	want := []string{"link/.hidden: hidden file", "link/a/1.dcm: to read"}
	for _, given := range []string{link, link + "/", link + "/."} {
		if diff := cmp.Diff(want, lines(t, dir, given)); diff != "" {
			t.Errorf("%s: %s", given, diff)
		}
	}
	// What a watch handed over and is a link or a pipe by now is not opened.
	b, err := List(context.Background(), []string{link, filepath.Join(dir, "gone.dcm")}, zerolog.Nop())
	if err != nil || len(b.Objects) != 2 || b.Objects[0].Reason == "" || b.Objects[1].Reason != "not a regular file" {
		t.Errorf("listed: %+v, %v", b, err)
	}
}

func TestLoopOfLinksEnds(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, map[string][]byte{"a/1.dcm": part10})
	if err := os.Symlink(dir, filepath.Join(dir, "a", "loop")); err != nil {
		t.Skip("no symbolic links here")
	}
	want := []string{"a/1.dcm: to read", "a/loop: symbolic link, not followed"}
	if diff := cmp.Diff(want, lines(t, dir, dir)); diff != "" {
		t.Error(diff)
	}
}

func TestArchiveEntriesAreObjects(t *testing.T) {
	dir := t.TempDir()
	inner := zipOf(t, func(z *zip.Writer) { entry(t, z, "x.dcm", part10) })
	write(t, dir, map[string][]byte{
		"export.zip": zipOf(t, func(z *zip.Writer) {
			entry(t, z, "study/2.dcm", part10)
			entry(t, z, "study/1.dcm", part10)
			entry(t, z, "__MACOSX/._1.dcm", []byte("x"))
			entry(t, z, "inner.zip", inner)
		}),
		"broken.zip": []byte("PK\x03\x04 and then nothing"),
	})
	got := lines(t, dir, dir)
	want := []string{
		"broken.zip: damaged zip archive: zip: not a valid zip file",
		"export.zip!__MACOSX/._1.dcm: hidden file",
		"export.zip!inner.zip: archive inside an archive, not opened",
		"export.zip!study/1.dcm: to read",
		"export.zip!study/2.dcm: to read",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestArchiveThatUnpacksTooFarIsNotOpened(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, map[string][]byte{"bomb.zip": zipOf(t, func(z *zip.Writer) {
		entry(t, z, "big.dcm", append(bytes.Clone(part10), make([]byte, 32<<20)...))
		entry(t, z, "small.dcm", part10)
	})})
	want := []string{"bomb.zip!big.dcm: entry of a zip archive unpacks more than 200-fold", "bomb.zip!small.dcm: to read"}
	if diff := cmp.Diff(want, lines(t, dir, dir)); diff != "" {
		t.Error(diff)
	}
}

func TestStandardInputTakesOneFileOrAnArchive(t *testing.T) {
	archive := zipOf(t, func(z *zip.Writer) { entry(t, z, "a.dcm", part10) })
	for _, c := range []struct {
		name  string
		input []byte
		want  string
	}{{"file", part10, "stdin"}, {"archive", archive, "stdin!a.dcm"}} {
		t.Run(c.name, func(t *testing.T) {
			b, err := Find(context.Background(), []string{"-"}, bytes.NewReader(c.input), zerolog.Nop())
			if err != nil {
				t.Fatal(err)
			}
			defer b.Close()
			if len(b.Objects) != 1 || b.Objects[0].Path != c.want {
				t.Fatalf("objects %v, want one at %s", b.Objects, c.want)
			}
			content, err := b.Objects[0].Read(context.Background())
			if err != nil || !bytes.Equal(content.Bytes, part10) {
				t.Errorf("content %d bytes, error %v", len(content.Bytes), err)
			}
		})
	}
}

func TestMissingPathIsAnErrorWithAHint(t *testing.T) {
	_, err := Find(context.Background(), []string{filepath.Join(t.TempDir(), "nothing\x1b[2J")}, nil, zerolog.Nop())
	var pathError *PathError
	if !errors.As(err, &pathError) || pathError.Hint == "" {
		t.Fatalf("error %v, want a PathError with a hint", err)
	}
	if strings.Contains(err.Error(), "\x1b") {
		t.Errorf("error %q carries a control character of the file name", err)
	}
}

func TestReadHashesTheWholeFileAndKeepsABoundedHead(t *testing.T) {
	dir := t.TempDir()
	long := append(bytes.Clone(part10), bytes.Repeat([]byte{7}, HeadLimit)...)
	write(t, dir, map[string][]byte{"long.dcm": long})
	b, err := Find(context.Background(), []string{dir}, nil, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	content, err := b.Objects[0].Read(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(long)
	if content.SHA256 != hex.EncodeToString(sum[:]) || content.Size != int64(len(long)) {
		t.Errorf("hash %s of %d bytes, want that of the whole file", content.SHA256, content.Size)
	}
	if len(content.Bytes) != HeadLimit || content.Whole() {
		t.Errorf("kept %d bytes, whole %v; want the first %d", len(content.Bytes), content.Whole(), HeadLimit)
	}
	all, err := b.Objects[0].ReadAll(context.Background())
	if err != nil || !bytes.Equal(all, long) {
		t.Errorf("ReadAll gave %d bytes, error %v", len(all), err)
	}
}

func TestReadTellsWhatIsNotDICOM(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, map[string][]byte{
		"notes.txt": []byte("just words, no data set"), "empty": nil, "claimed.dcm": []byte("just words, no data set"),
		"bare-little": {8, 0, 5, 0, 'C', 'S', 0, 0}, "bare-big": {0, 8, 0, 5, 'C', 'S', 0, 0},
	})
	b, err := Find(context.Background(), []string{dir}, nil, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	want := map[string]error{"notes.txt": ErrNotDICOM, "empty": ErrEmpty, "claimed.dcm": nil, "bare-little": nil, "bare-big": nil}
	for _, o := range b.Objects {
		if _, err := o.Read(context.Background()); !errors.Is(err, want[filepath.Base(o.Path)]) {
			t.Errorf("%s: error %v, want %v", filepath.Base(o.Path), err, want[filepath.Base(o.Path)])
		}
	}
}

func TestCancelledReadStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	o := Object{Path: "x.dcm", open: func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(part10)), nil }}
	cancel()
	if _, err := o.Read(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
}
