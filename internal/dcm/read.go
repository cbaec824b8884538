package dcm

import "io"

// ReadBytes reads a whole file held in memory. The error is always a *Refusal.
func ReadBytes(b []byte) (*File, error) { return nil, &Refusal{Reason: "stub"} }

// ReadFile reads a whole file from disk; an I/O error comes back as it is, a
// damaged file as *Refusal. Image objects are read up to the pixel data only.
func ReadFile(path string) (*File, error) { return nil, &Refusal{Reason: "stub"} }

// ReadHeader reads the data set up to (not including) the pixel data, in
// constant memory whatever the size of the file.
func ReadHeader(r io.ReaderAt, size int64) (*File, error) { return nil, &Refusal{Reason: "stub"} }

// Write writes a Part 10 file in Explicit VR Little Endian with the library's
// writer; elements are sorted by tag at each level first.
func Write(w io.Writer, d Dataset) error { return nil }
