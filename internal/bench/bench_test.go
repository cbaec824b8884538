package bench_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"echotally/internal/bench"
	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
)

var (
	write = flag.String("write", "", "folder to write the files that .ci/bench reads, one folder for each size and form")
	total = flag.Int("total", 40<<20, "bytes of files to write for each")
)

// Every size and form is read whole and has the size it is named for.
func TestReports(t *testing.T) {
	for _, size := range bench.Sizes() {
		for _, d := range bench.Reports(size.Bytes, 3) {
			for _, form := range bench.Forms() {
				b := dcmtest.Encode(d, form.Encoding)
				f, err := dcm.ReadBytes(b)
				if err != nil {
					t.Fatal(err)
				}
				if f.State != dcm.Read || len(f.Deviations) > 0 {
					t.Errorf("%s %s: %s, %v", size.Name, form.Name, f.State, f.Deviations)
				}
				if form.Name == "explicit" && (len(b) < size.Bytes*9/10 || len(b) > size.Bytes*11/10) {
					t.Errorf("%s: %d bytes", size.Name, len(b))
				}
			}
		}
	}
}

// Files of each size and form are read from where they were written. With -write they are
// many, and stay for .ci/bench.
func TestWriteFiles(t *testing.T) {
	if *write == "" {
		*write, *total = t.TempDir(), 0
	}
	for _, size := range bench.Sizes() {
		reports := bench.Reports(size.Bytes, max(1, *total/size.Bytes))
		for _, form := range bench.Forms() {
			dir := filepath.Join(*write, size.Name+"-"+form.Name)
			if err := os.MkdirAll(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			for i, d := range reports {
				b := dcmtest.Encode(d, form.Encoding)
				name := filepath.Join(dir, fmt.Sprintf("%05d.dcm", i))
				if err := os.WriteFile(name, b, 0o644); err != nil {
					t.Fatal(err)
				}
				written, err := os.ReadFile(name)
				if err != nil {
					t.Fatal(err)
				}
				if f, err := dcm.ReadBytes(written); err != nil || f.State != dcm.Read {
					t.Errorf("%s cannot be read: %v", name, err)
				}
			}
		}
	}
}
