// Package archive owns search and retrieve as user agent (PS3.18): what an archive has of
// some days, and getting an object into the spool. The archive is not trusted: every page, object
// and wait has a bound. No error that is logged names a study.
package archive

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/dicomweb/request"
	"echotally/internal/identifier"
)

// Archive is an origin server that is searched (PS3.18 section 10.6) and from which
// objects are retrieved (section 10.4). Errors name no study.
type Archive struct {
	request.Client
	Page      int   // results that are asked for at a time
	MostPage  int64 // bytes of a page of results
	MostFound int   // results of one search
}

// Defaults of an archive (site choice): results by the hundred, a search of a day never
// beyond 20,000 results.
const (
	DefaultPage      = 100
	DefaultMostPage  = 32 << 20
	DefaultMostFound = 20_000
)

// Instance is an object of the archive.
type Instance struct{ Study, Series, Instance, Modality string }

// Studies are the UIDs of the studies of one day that hold a series of a modality. What
// says that it is of another day or has no such series is left out: archives need not
// match by every key.
func (a *Archive) Studies(ctx context.Context, day time.Time, modality string) iter.Seq2[string, error] {
	date := day.Format("20060102")
	query := url.Values{"StudyDate": {date}, "ModalitiesInStudy": {modality}, "includefield": {"00080061"}}
	return func(yield func(string, error) bool) {
		for found, err := range a.search(ctx, "studies", "/studies", query, studyUID) {
			if err == nil {
				modalities := found.texts("00080061")
				if d := found.text("00080020"); d != "" && d != date || len(modalities) > 0 && !slices.Contains(modalities, modality) {
					continue
				}
			}
			if !yield(found.text(studyUID), err) {
				return
			}
		}
	}
}

// Instances are the objects of a study in the series of the modalities.
func (a *Archive) Instances(ctx context.Context, study string, modalities ...string) iter.Seq2[Instance, error] {
	at := "/studies/" + study + "/series"
	return func(yield func(Instance, error) bool) {
		for series, err := range a.search(ctx, "series", at, url.Values{}, seriesUID) {
			if err != nil {
				yield(Instance{}, err)
				return
			}
			one := Instance{Study: study, Series: series.text(seriesUID), Modality: series.text("00080060")}
			if !slices.Contains(modalities, one.Modality) {
				continue
			}
			for found, err := range a.search(ctx, "instances", at+"/"+one.Series+"/instances", url.Values{}, instanceUID) {
				one.Instance = found.text(instanceUID)
				if !yield(one, err) || err != nil {
					return
				}
			}
		}
	}
}

// Unique keys of the levels.
const (
	studyUID    = "0020000D"
	seriesUID   = "0020000E"
	instanceUID = "00080018"
)

// result is a data set in the DICOM JSON model (PS3.18 annex F), as far as it is read.
type result map[string]struct {
	Value []json.RawMessage
}

func (r result) texts(tag string) (out []string) {
	for _, raw := range r[tag].Value {
		var text string
		if json.Unmarshal(raw, &text) == nil {
			out = append(out, strings.TrimSpace(text))
		}
	}
	return out
}

func (r result) text(tag string) string {
	if all := r.texts(tag); len(all) == 1 {
		return all[0]
	}
	return ""
}

// search gives all results of a search, page after page, each once: archives give fewer
// at a time than they are asked for, and some always the first page (section 8.3.4.4).
func (a *Archive) search(ctx context.Context, what, path string, query url.Values, key string) iter.Seq2[result, error] {
	return func(yield func(result, error) bool) {
		seen := map[string]bool{}
		for offset := 0; ; {
			query.Set("limit", strconv.Itoa(a.Page))
			query.Set("offset", strconv.Itoa(offset))
			page, err := a.page(ctx, what, path, query)
			if err != nil {
				yield(nil, err)
				return
			}
			fresh := false
			for _, found := range page {
				uid := found.text(key)
				if !identifier.IsUID(uid) {
					yield(nil, fmt.Errorf("the archive lists one of the %s without its UID", what))
					return
				}
				if seen[uid] {
					continue
				}
				fresh, seen[uid] = true, true
				if len(seen) > a.MostFound {
					yield(nil, fmt.Errorf("the archive lists more than %d %s for one search", a.MostFound, what))
					return
				}
				if !yield(found, nil) {
					return
				}
			}
			if !fresh {
				return
			}
			offset += len(page)
		}
	}
}

func (a *Archive) page(ctx context.Context, what, path string, query url.Values) (out []result, err error) {
	err = a.Ask(ctx, "a search for "+what, path, query, "application/dicom+json", func(r *http.Response) error {
		if r.StatusCode == http.StatusNoContent {
			return nil
		}
		b, err := io.ReadAll(io.LimitReader(r.Body, a.MostPage+1))
		if err != nil {
			return request.Again(errors.New("the answer is incomplete"))
		}
		if int64(len(b)) > a.MostPage {
			return fmt.Errorf("the answer is longer than %d bytes", a.MostPage)
		}
		if len(b) == 0 {
			return nil // some answer so instead of 204
		}
		if json.Unmarshal(b, &out) != nil {
			return errors.New("the answer is not a list in JSON")
		}
		return nil
	})
	return out, err
}
