package dcm_test

import (
	"bytes"
	"io"
	"log"
	"os"
	"testing"

	"echotally/internal/bench"
	"echotally/internal/dcm"

	"github.com/suyashkumar/dicom"
)

// BenchmarkReadBytes reads whole reports into elements.
func BenchmarkReadBytes(b *testing.B) {
	bench.Read(b, func(file []byte) {
		f, err := dcm.ReadBytes(file)
		if err != nil {
			b.Fatal(err)
		}
		f.Release()
	})
}

// BenchmarkLibrary is what reading is held against: the library's own reader in a
// plain loop, which makes elements and looks at none of them.
func BenchmarkLibrary(b *testing.B) {
	log.SetOutput(io.Discard)
	defer log.SetOutput(os.Stderr)
	bench.Read(b, func(file []byte) {
		if _, err := dicom.Parse(bytes.NewReader(file), int64(len(file)), nil); err != nil {
			b.Fatal(err)
		}
	})
}

// BenchmarkIdentify is the first pass over a set of files.
func BenchmarkIdentify(b *testing.B) {
	bench.Read(b, func(file []byte) {
		if id, err := dcm.Identify(bytes.NewReader(file), int64(len(file))); err != nil || !id.Report() {
			b.Fatal(id, err)
		}
	})
}
