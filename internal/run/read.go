package run

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"

	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/intake"
	"echotally/internal/printable"
	"echotally/internal/sr"
	"echotally/internal/sr/made"
	"echotally/internal/ultrasound"
	"echotally/internal/ultrasound/private"
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

// listed is the object before anything was read of it.
func listed(found *intake.Object) reading {
	r := reading{object: Object{Path: printable.Line(found.Path), State: Ignored, Reason: found.Reason, Hint: found.Hint}}
	if found.Unreadable {
		r.object.State = Refused
	}
	return r
}

// read reads an object as far as anybody asks for it.
func (r Reader) read(ctx context.Context, found *intake.Object) reading {
	one := listed(found)
	if found.Reason != "" {
		return one
	}
	content, err := found.Read(ctx)
	return r.readContent(ctx, one, found, content, err)
}

// readContent reads what a file holds.
func (r Reader) readContent(ctx context.Context, one reading, found *intake.Object, content intake.Content, err error) reading {
	switch {
	case errors.Is(err, intake.ErrEmpty) && found.Claimed():
		return one.refuse("empty file under the name of a DICOM object", "get the object from the archive")
	case errors.Is(err, intake.ErrNotDICOM), errors.Is(err, intake.ErrEmpty):
		one.object.Reason = err.Error()
		return one
	case err != nil:
		return one.refuse(err.Error(), "")
	}
	one.object.SHA256 = content.SHA256
	if !content.Whole() && content.Size > intake.WholeLimit {
		is, err := dcm.Identify(bytes.NewReader(content.Bytes), content.Size)
		if err == nil && !is.Report() && !is.Image && is.Modality != "SR" {
			one.identify(is)
			one.object.Reason = "not a structured report (SOP class " + is.SOPClassUID + ")"
			return one
		}
	}
	file, err := parse(ctx, found, content)
	if err != nil {
		return one.refuseFor(err)
	}
	defer file.Release() // what is read below keeps nothing of it
	one.identify(file.Identity())
	if !sr.IsStructuredReport(one.object.SOPClassUID) {
		return one.setAside(file, r.Library.Private)
	}
	document, err := sr.Parse(file)
	if err != nil {
		return one.refuseFor(err)
	}
	if document.Manufacturer == made.Maker {
		one.object.State, one.object.Reason = Ignored, "written by this program about the study"
		return one
	}
	one.document = document
	one.object.State, one.object.StudyInstanceUID = Read, document.StudyInstanceUID
	if len(document.Losses) > 0 { // the file's and those of the content tree
		one.object.State, one.object.Reason = Partial, losses(document.Losses)
		one.object.Hint = "get an undamaged copy from the archive"
		if document.StudyInstanceUID == "" {
			one.object.Hint = "shown as a study of its own, which cannot be recorded; export the report again from where it was made"
		}
	}
	return one
}

// parse reads a small file whole and of a large one the header, unless the
// header tells that it is a report, or does not end within the bytes at hand.
// Of an ultrasound image nobody asks for more than the header.
func parse(ctx context.Context, found *intake.Object, content intake.Content) (*dcm.File, error) {
	if content.Whole() {
		if id, err := dcm.Identify(bytes.NewReader(content.Bytes), content.Size); err == nil && ultrasound.IsImage(id.SOPClassUID) {
			return dcm.ReadHeader(bytes.NewReader(content.Bytes), content.Size)
		}
		return dcm.ReadBytes(content.Bytes)
	}
	file, err := dcm.ReadHeader(bytes.NewReader(content.Bytes), content.Size)
	if err == nil && file.State == dcm.Read && !sr.IsStructuredReport(file.Identity().SOPClassUID) {
		return file, nil
	}
	all, err := found.ReadAll(ctx)
	if err != nil {
		return nil, err
	}
	return dcm.ReadBytes(all)
}

func (r *reading) identify(is dcm.Identity) {
	r.object.SOPClassUID, r.object.SOPInstanceUID, r.object.StudyInstanceUID = is.SOPClassUID, is.SOPInstanceUID, is.StudyInstanceUID
}

// setAside says what an object is that is no report.
func (r reading) setAside(file *dcm.File, mapped []private.Mapping) reading {
	is := file.Identity()
	switch {
	case file.Contradicts() != "":
		return r.refuse("no structured report by its SOP class ("+r.object.SOPClassUID+"), but "+file.Contradicts()+": what it is, is not known",
			"get an undamaged copy from the archive")
	case r.object.SOPClassUID == mediaDirectory:
		r.object.Reason = "index of the medium (DICOMDIR), holds no measurements"
	case is.Image && is.Modality != "US":
		r.object.Reason = "image of another modality"
	case is.Image:
		r.object.State, r.object.Image, r.object.Reason = Read, true, ""
		r.image = ultrasound.Read(file, mapped...)
	case r.object.SOPClassUID == "":
		return r.refuse("no SOP Class UID: what the object is, is not known", "export it again from where it was made")
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
