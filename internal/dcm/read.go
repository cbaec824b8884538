package dcm

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
)

// maxInflated is the ceiling on what a deflated data set may expand to.
const maxInflated = 16 << 20

// ReadBytes reads a whole file held in memory, which must not be written to as long
// as the data set is in use. The error is always a *Refusal.
func ReadBytes(b []byte) (*File, error) {
	if len(b) > math.MaxUint32 {
		return nil, &Refusal{Reason: fmt.Sprintf("file of %d bytes, too long to be read whole", len(b))}
	}
	w := &walker{in: inMemory(b), space: spaces.Get().(*space)}
	w.makeRoom(w.in.size)
	f, err := read(w)
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
	return read(&walker{in: inWindow(r, size), header: true, room: maxHeaderBytes, space: &space{}})
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
	if cause == nil && f.report() && !f.Dataset.Has(tagContentSequence) {
		cause = &fault{Refusal: Refusal{
			Offset: w.pos, Reason: "structured report without a Content Sequence; a report cut before it looks the same" + w.where,
			Hint: "export or send the object again",
		}}
	}
	if cause != nil && (!cause.cut || !f.report() || !f.Dataset.Has(tagContentSequence)) {
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
	path, inside := strings.CutPrefix(cause.TagPath, tagContentSequence.String())
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
	f := &File{space: w.space, Meta: Dataset{meta}, TransferSyntaxUID: Dataset{meta}.Text(tagTransferSyntax)}
	if w.pos >= w.in.size {
		return w, nil, w.cut(w.pos, "", "file ends before the data set")
	}
	dataset, enc, err := w.dataset(f)
	if err != nil {
		return w, nil, err
	}
	f.Dataset.Elements, err = dataset.level(bound{end: dataset.in.size, open: true, top: true}, dataset.source(enc))
	if err == nil && dataset.damage != nil && dataset.pixelData < 0 && dataset.stop == nil {
		err = dataset.damage
	}
	if err == nil && len(f.Dataset.Elements) == 0 && dataset.stop == nil {
		err = dataset.broken(dataset.pos, "", "no element in the data set")
	}
	return dataset, f, err
}
