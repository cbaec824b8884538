package archive

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"

	"echotally/internal/dcm"
	"echotally/internal/dicomweb/request"
	"echotally/internal/spool"
)

// mostHeader is how much of an image is read to find where its pixels begin.
const mostHeader = 4 << 20

// Retrieve retrieves an object into the spool. Of one that is wanted for its header
// only, what comes from the pixel data on is neither read nor kept, as far as that can
// be found; what is kept is whole without it. The status is that of the object once it
// is in the spool; an error is one of getting it.
func (a *Archive) Retrieve(ctx context.Context, one Instance, to *spool.Spool, most int64, headerOnly bool) (status spool.Status, err error) {
	path := "/studies/" + one.Study + "/series/" + one.Series + "/instances/" + one.Instance
	err = a.Ask(ctx, "retrieving an object", path, nil, `multipart/related; type="application/dicom"; transfer-syntax=*`, func(r *http.Response) error {
		body, err := objectOf(r)
		if err != nil {
			return err
		}
		in := to.Begin(most)
		if headerOnly {
			err = copyHeader(in, body)
		} else {
			_, err = io.Copy(in, body)
		}
		if err != nil {
			in.Drop()
			return request.Again(errors.New("the object is incomplete"))
		}
		_, status = in.Finish(func(is spool.Identity) (spool.Status, error) {
			if is.Instance != one.Instance || is.Study != one.Study {
				return spool.DoesNotMatch, errors.New("it is not the object that was asked for")
			}
			return spool.Success, nil
		})
		if status == spool.OutOfResources {
			return errors.New("the object is larger than allowed, or the disk is full")
		}
		return nil
	})
	return status, err
}

// objectOf is the first part of an answer, or all of one that has no parts. A part ends
// with a boundary, so that one that is cut is an error.
func objectOf(r *http.Response) (io.Reader, error) {
	kind, parameters, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	switch {
	case err != nil:
		return nil, errors.New("the answer does not say what it is (Content-Type)")
	case kind == "application/dicom":
		return r.Body, nil
	case kind != "multipart/related" || parameters["boundary"] == "":
		return nil, errors.New("the answer is not a DICOM object")
	}
	part, err := multipart.NewReader(r.Body, parameters["boundary"]).NextRawPart()
	switch {
	case errors.Is(err, io.EOF):
		return nil, errors.New("the answer holds no object")
	case err != nil:
		return nil, request.Again(errors.New("the answer is incomplete"))
	}
	if kind, _, err := mime.ParseMediaType(part.Header.Get("Content-Type")); err == nil && kind != "application/dicom" {
		return nil, errors.New("the answer is not a DICOM object")
	}
	return part, nil
}

// copyHeader copies an object up to its pixel data, or all of one in which that is not
// found.
func copyHeader(to io.Writer, from io.Reader) error {
	var head bytes.Buffer
	for chunk := int64(256 << 10); head.Len() < mostHeader; chunk *= 2 {
		n, err := io.CopyN(&head, from, chunk)
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		f, unread := dcm.ReadHeader(bytes.NewReader(head.Bytes()), int64(head.Len()))
		// A deflated data set has no place that could be cut at.
		if unread == nil && f.PixelDataOffset > 0 && f.TransferSyntaxUID != dcm.DeflatedExplicitVRLittleEndian {
			_, err := to.Write(head.Bytes()[:f.PixelDataOffset])
			return err
		}
		if n < chunk {
			break
		}
	}
	_, err := io.Copy(to, io.MultiReader(&head, from))
	return err
}
