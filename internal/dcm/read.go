package dcm

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/suyashkumar/dicom"
)

const (
	// maxReport is the largest report that ReadFile takes; 1,000 measurements
	// with modifiers need less than 1 MB.
	maxReport = 16 << 20
	// maxInflated is the ceiling on what a deflated data set may expand to.
	maxInflated = 16 << 20
)

// ReadBytes reads a whole file held in memory. The error is always a *Refusal.
func ReadBytes(b []byte) (*File, error) {
	f, err := read(&walker{in: inMemory(b)})
	if err != nil {
		var refusal *Refusal
		if !errors.As(err, &refusal) {
			refusal = &Refusal{Reason: err.Error()} // cannot happen: there is no I/O
		}
		return nil, refusal
	}
	return f, nil
}

// ReadHeader reads the data set up to (not including) the pixel data, in
// constant memory whatever the size of the file. Values longer than 64 KiB are
// stepped over: their element is there without a value, and Skipped names it.
// An error is a *Refusal, or the I/O error as it is.
func ReadHeader(r io.ReaderAt, size int64) (*File, error) {
	return read(&walker{in: inWindow(r, size), header: true, room: maxHeaderBytes})
}

// SOPClass returns the SOP class UID of a file without reading further than
// that, "" when it states none. Errors are those of ReadHeader.
func SOPClass(r io.ReaderAt, size int64) (string, error) {
	beyond := func(t Tag) bool { return t.Uint32() > tagSOPClass.Uint32() }
	w := &walker{in: inWindow(r, size), header: true, room: maxHeaderBytes, stop: beyond}
	_, f, err := w.file()
	if err != nil {
		return "", refusalOf(err)
	}
	return sopClass(f), nil
}

// ReadFile reads a whole file from disk; an I/O error comes back as it is, a
// damaged file as *Refusal. Only structured reports and key objects are read
// whole, and only up to 16 MiB; of other objects the header is read.
func ReadFile(path string) (*File, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, fmt.Errorf("read %s: is a directory", path)
	}
	size := info.Size()
	class, err := SOPClass(file, size)
	if err == nil && !isReportClass(class) && class != "" {
		return ReadHeader(file, size)
	}
	var refusal *Refusal
	if err != nil && !errors.As(err, &refusal) {
		return nil, err
	}
	if size > maxReport {
		if err == nil && class == "" {
			return ReadHeader(file, size)
		}
		if err != nil {
			return nil, err
		}
		return nil, &Refusal{
			Reason: fmt.Sprintf("structured report of %d bytes, more than %d", size, maxReport),
			Hint:   "no report needs this size; look at what made the file",
		}
	}
	b := make([]byte, size)
	if _, err := io.ReadFull(file, b); err != nil {
		return nil, err
	}
	return ReadBytes(b)
}

// isReportClass reports whether objects of the class carry a content tree: the
// SR storage classes, Key Object Selection among them (PS3.4 annex B.5).
func isReportClass(uid string) bool {
	return strings.HasPrefix(uid, "1.2.840.10008.5.1.4.1.1.88.")
}

func sopClass(f *File) string {
	if uid := f.Dataset.Text(tagSOPClass); uid != "" {
		return uid
	}
	return f.Meta.Text(tagMediaClass)
}

func isReport(f *File) bool {
	modality := f.Dataset.Text(tagModality)
	class := sopClass(f)
	return isReportClass(class) || class == "" && (modality == "SR" || modality == "KO")
}

func refusalOf(err error) error {
	if f := asFault(err); f != nil {
		return &f.Refusal
	}
	return err
}

// read reads a file and judges how much of it can be used.
func read(w *walker) (*File, error) {
	w, f, err := w.file()
	cause := asFault(err)
	if err != nil && (cause == nil || f == nil) {
		return nil, refusalOf(err)
	}
	if cause == nil && isReport(f) && !f.Dataset.Has(tagContentSequence) {
		cause = &fault{Refusal: Refusal{
			Offset: w.pos, Reason: "structured report without a Content Sequence; a report cut before it looks the same" + w.where,
			Hint: "export or send the object again",
		}}
	}
	if cause != nil && (!cause.cut || !isReport(f) || !f.Dataset.Has(tagContentSequence)) {
		return nil, &cause.Refusal
	}
	f.State = Read
	if cause != nil {
		w.losses = append(w.losses, Loss{Offset: cause.Offset, TagPath: cause.TagPath, Reason: lossReason(f, cause)})
	}
	if len(w.losses) > 0 {
		f.State = Partial
	}
	if w.moreDeviations > 0 {
		w.deviations = append(w.deviations, Deviation{Detail: fmt.Sprintf("%d further departures not listed", w.moreDeviations)})
	}
	f.Losses, f.Skipped, f.Deviations, f.PixelDataOffset = w.losses, w.skipped, w.deviations, w.pixelData
	return f, nil
}

// lossReason says what a cut report lost. How many items are gone can never be
// told: the file does not count them.
func lossReason(f *File, cause *fault) string {
	kept := countItems(f.Dataset)
	path, inside := strings.CutPrefix(cause.TagPath, TagText(tagContentSequence))
	number, isItem := strings.CutPrefix(path, "[")
	number, _, _ = strings.Cut(number, "]")
	switch {
	case !inside:
		return fmt.Sprintf("%s; it lies behind the Content Sequence, whose %d content items are complete", cause.Reason, kept)
	case !isItem:
		return fmt.Sprintf("file ends between items of the Content Sequence; %d content items kept, how many are lost cannot be told", kept)
	}
	return fmt.Sprintf("file ends inside item %s of the Content Sequence; %d content items kept, how many are lost cannot be told (%s)",
		number, kept, cause.Reason)
}

// countItems counts the content items below d, depth first.
func countItems(d Dataset) int {
	n := 0
	for _, item := range d.Sequence(tagContentSequence) {
		n += 1 + countItems(item)
	}
	return n
}

// file reads meta header and data set. It returns the walker of the data set,
// which is another one when that was deflated.
func (w *walker) file() (*walker, *File, error) {
	w.pixelData = -1
	if w.in.size == 0 {
		return w, nil, &fault{Refusal: Refusal{Reason: "empty file"}}
	}
	meta, err := w.metaHeader()
	if err != nil {
		return w, nil, err
	}
	f := &File{Meta: Dataset{Elements: meta}, TransferSyntaxUID: Dataset{Elements: meta}.Text(tagTransferSyntax)}
	if w.pos >= w.in.size {
		return w, nil, w.cut(w.pos, "", "file ends before the data set")
	}
	dataset, enc, err := w.dataset(f)
	if err != nil {
		return w, nil, err
	}
	var elements []*dicom.Element
	elements, err = dataset.elements(bound{end: dataset.in.size, open: true, top: true}, enc, charset{g0: setASCII, undeclared: true})
	f.Dataset.Elements = elements
	if err == nil && dataset.damage != nil && dataset.pixelData < 0 && dataset.stop == nil {
		err = dataset.damage
	}
	if err == nil && len(elements) == 0 && dataset.stop == nil {
		err = dataset.broken(dataset.pos, "", "no element in the data set")
	}
	return dataset, f, err
}
