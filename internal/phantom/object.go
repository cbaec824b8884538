package phantom

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math/big"
	"strings"
	"time"

	"echotally/internal/dcm"
)

// Lab is the name of the invented laboratory.
const Lab = "Harbourlight Echo Laboratory (invented)"

// Object is one file of a study.
type Object struct {
	Name     string
	Dataset  dcm.Dataset
	Implicit bool   // written in implicit little endian
	Keep     int    // bytes kept of the encoded file, 0 for all
	Raw      []byte // the whole file when it is no DICOM object
}

// Bytes encodes the object as it lies on disk.
func (o Object) Bytes() ([]byte, error) {
	if o.Raw != nil {
		return o.Raw, nil
	}
	var b bytes.Buffer
	write := dcm.Write
	if o.Implicit {
		write = dcm.WriteImplicit
	}
	if err := write(&b, o.Dataset); err != nil {
		return nil, fmt.Errorf("demo object %s: %w", o.Name, err)
	}
	if o.Keep > 0 && o.Keep < b.Len() {
		b.Truncate(o.Keep)
	}
	return b.Bytes(), nil
}

// Uid derives a unique identifier from names: the root 2.25 with a 128-bit
// number (PS3.5 B.2), here taken from a hash.
func Uid(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return "2.25." + new(big.Int).SetBytes(sum[:16]).String()
}

// Opening is the first study day.
var Opening = time.Date(2026, time.March, 2, 0, 0, 0, 0, time.UTC)

// day is the n-th study day.
func day(n int) string { return Opening.AddDate(0, 0, n).Format("20060102") }
