package run

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"

	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/intake"
	"echotally/internal/sr"
	"echotally/internal/ultrasound"
)

// Tags read here (PS3.6) to tell what an object is.
var (
	tagSOPClassUID      = dcm.Tag{Group: 0x0008, Element: 0x0016}
	tagSOPInstanceUID   = dcm.Tag{Group: 0x0008, Element: 0x0018}
	tagStudyInstanceUID = dcm.Tag{Group: 0x0020, Element: 0x000D}
	tagModality         = dcm.Tag{Group: 0x0008, Element: 0x0060}
	tagRows             = dcm.Tag{Group: 0x0028, Element: 0x0010}
	tagMediaClassUID    = dcm.Tag{Group: 0x0002, Element: 0x0002}
)

// mediaDirectory is the Media Storage Directory class (PS3.6 Annex A): a
// DICOMDIR under another name.
const mediaDirectory = "1.2.840.10008.1.3.10"

// reading is what one worker found out about one object.
type reading struct {
	object   Object
	document *sr.Document // nil unless a report was read, whole or in part
	image    *echo.Image  // nil unless the header of an ultrasound image was read
}

// opens reports whether the object alone makes a study worth a page: a report,
// read or not, or an ultrasound image. Everything else is told under its study
// only when the study is there for another reason.
func (r reading) opens() bool {
	return r.object.StudyInstanceUID != "" && (r.document != nil || r.object.Image || r.object.State == Refused)
}

func readObject(ctx context.Context, found intake.Object, mapped []ultrasound.Private) reading {
	r := reading{object: Object{Path: intake.Printable(found.Path), State: Ignored, Reason: found.Reason, Hint: found.Hint}}
	if found.Unreadable {
		r.object.State = Refused
	}
	if found.Reason != "" {
		return r
	}
	content, err := found.Read(ctx)
	switch {
	case errors.Is(err, intake.ErrNotDICOM), errors.Is(err, intake.ErrEmpty):
		r.object.Reason = err.Error()
		return r
	case err != nil:
		return r.refuse(err.Error(), "")
	}
	r.object.SHA256 = content.SHA256
	file, err := parse(ctx, found, content)
	if err != nil {
		return r.refuseFor(err)
	}
	defer file.Release() // what is read below keeps nothing of it
	r.identify(file)
	if !sr.IsStructuredReport(r.object.SOPClassUID) {
		return r.setAside(file, mapped)
	}
	document, err := sr.Parse(file)
	if err != nil {
		return r.refuseFor(err)
	}
	if document.StudyInstanceUID == "" {
		return r.refuse("no Study Instance UID: the study it belongs to cannot be told", "export the report again from where it was made")
	}
	r.document = document
	r.object.State, r.object.StudyInstanceUID = Read, document.StudyInstanceUID
	if len(document.Losses) > 0 { // the file's and those of the content tree
		r.object.State, r.object.Reason = Partial, losses(document.Losses)
		r.object.Hint = "get an undamaged copy from the archive"
	}
	return r
}

// parse reads a small file whole and of a large one the header, unless the
// header tells that it is a report, or does not end within the bytes at hand.
// Of an ultrasound image nobody asks for more than the header.
func parse(ctx context.Context, found intake.Object, content intake.Content) (*dcm.File, error) {
	if content.Whole() {
		if id, err := dcm.Identify(bytes.NewReader(content.Bytes), content.Size); err == nil && ultrasound.IsImage(id.SOPClassUID) {
			return dcm.ReadHeader(bytes.NewReader(content.Bytes), content.Size)
		}
		return dcm.ReadBytes(content.Bytes)
	}
	file, err := dcm.ReadHeader(bytes.NewReader(content.Bytes), content.Size)
	if err == nil && file.State == dcm.Read && !sr.IsStructuredReport(file.Dataset.Text(tagSOPClassUID)) {
		return file, nil
	}
	all, err := found.ReadAll(ctx)
	if err != nil {
		return nil, err
	}
	return dcm.ReadBytes(all)
}

func (r *reading) identify(file *dcm.File) {
	r.object.SOPClassUID = file.Dataset.Text(tagSOPClassUID)
	if r.object.SOPClassUID == "" {
		r.object.SOPClassUID = file.Meta.Text(tagMediaClassUID)
	}
	r.object.SOPInstanceUID = file.Dataset.Text(tagSOPInstanceUID)
	r.object.StudyInstanceUID = file.Dataset.Text(tagStudyInstanceUID)
}

// setAside says what an object is that is no report.
func (r reading) setAside(file *dcm.File, mapped []ultrasound.Private) reading {
	switch {
	case r.object.SOPClassUID == mediaDirectory:
		r.object.Reason = "index of the medium (DICOMDIR), holds no measurements"
	case file.Dataset.Has(tagRows) && file.Dataset.Text(tagModality) != "US":
		r.object.Reason = "image of another modality"
	case file.Dataset.Has(tagRows):
		r.object.State, r.object.Image, r.object.Reason = Read, true, ""
		r.image = ultrasound.Read(file, mapped...)
	case r.object.SOPClassUID == "":
		return r.refuse("no SOP Class UID: what the object is cannot be told", "export it again from where it was made")
	default:
		r.object.Reason = "not a structured report (SOP class " + r.object.SOPClassUID + ")"
	}
	return r
}

func (r reading) refuse(reason, hint string) reading {
	r.object.State, r.object.Reason, r.object.Hint = Refused, reason, hint
	return r
}

func (r reading) refuseFor(err error) reading {
	var refusal *dcm.Refusal
	if errors.As(err, &refusal) {
		return r.refuse(refusal.Error(), refusal.Hint)
	}
	return r.refuse(err.Error(), "")
}

// losses says in one line what a damaged file lost.
func losses(all []dcm.Loss) string {
	const shown = 3
	var parts []string
	for i, l := range all {
		if i == shown {
			parts = append(parts, fmt.Sprintf("and %d more", len(all)-shown))
			break
		}
		parts = append(parts, l.String())
	}
	return "lost: " + strings.Join(parts, "; ")
}

// settleCopies keeps one of several copies of a report. A copy with the same
// bytes, or the same content in another encoding, is ignored; two different
// contents under one SOP Instance UID cannot both be right, and which is
// cannot be told, so the later one in the order of the list is refused.
func settleCopies(read []reading) {
	bySum, byUID := map[string]int{}, map[string]int{}
	for i := range read {
		r := &read[i]
		if r.object.SHA256 == "" {
			continue
		}
		if first, ok := bySum[r.object.SHA256]; ok {
			r.copyOf(read[first].object, "exact copy of ")
			continue
		}
		bySum[r.object.SHA256] = i
		if r.object.SOPInstanceUID == "" || r.object.State == Refused {
			continue
		}
		first, ok := byUID[r.object.SOPInstanceUID]
		switch {
		case !ok:
			byUID[r.object.SOPInstanceUID] = i
		case read[first].object.State == Partial && r.object.State == Read:
			read[first].copyOf(r.object, "damaged copy of ")
			byUID[r.object.SOPInstanceUID] = i
		case r.object.State == Partial && read[first].object.State == Read:
			r.copyOf(read[first].object, "damaged copy of ")
		case r.document == nil && read[first].document == nil:
			r.copyOf(read[first].object, "same SOP Instance UID as ")
		case sameContent(read[first].document, r.document):
			r.copyOf(read[first].object, "same object as ")
		default:
			r.document, r.image = nil, nil
			*r = r.refuse("same SOP Instance UID as "+read[first].object.Path+" but other content: which is right cannot be told",
				"compare the two with the archive and remove the wrong one")
			r.object.Other = read[first].object.Path
		}
	}
}

func (r *reading) copyOf(first Object, what string) {
	r.document, r.image = nil, nil
	r.object.Image, r.object.State = false, Ignored
	r.object.Reason, r.object.Hint, r.object.Other = what+first.Path, "", first.Path
}

// sameContent compares what two reports say; how they were encoded and where
// they depart from the standard does not count.
func sameContent(a, b *sr.Document) bool {
	if a == nil || b == nil {
		return false
	}
	x, y := *a, *b
	x.Deviations, y.Deviations = nil, nil
	return reflect.DeepEqual(x, y)
}
