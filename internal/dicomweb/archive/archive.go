// Package archive owns search and retrieve as user agent (PS3.18): what an archive has of
// some days, and fetching it into the spool. The archive is not trusted: every page, object
// and wait has a bound. No error that is logged names a study.
package archive

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/identifier"
)

// Archive is an origin server that is searched (PS3.18 section 10.6) and from which
// objects are retrieved (section 10.4). Errors name no study.
type Archive struct {
	URL       *url.URL // base, as https://archive.example.org/dicomweb
	HTTP      *http.Client
	Authorize func(*http.Request) // adds what shows who asks; nil for nobody

	Pause     time.Duration // between requests, at least
	Backoff   time.Duration // before the first try anew, doubled each time
	Tries     int           // of a request
	Page      int           // results that are asked for at a time
	MostPage  int64         // bytes of a page of results
	MostFound int           // results of one search
	Longest   time.Duration // an answer may take, to its end

	last time.Time // of a request
}

// Defaults of an archive (site choice): some pages a second, results by the hundred, a
// search of a day never beyond 20,000 results.
const (
	DefaultBackoff   = time.Second
	DefaultTries     = 6
	DefaultPage      = 100
	DefaultMostPage  = 32 << 20
	DefaultMostFound = 20_000
	DefaultLongest   = 30 * time.Minute
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
	err = a.ask(ctx, "a search for "+what, path, query, "application/dicom+json", func(r *http.Response) error {
		if r.StatusCode == http.StatusNoContent {
			return nil
		}
		b, err := io.ReadAll(io.LimitReader(r.Body, a.MostPage+1))
		if err != nil {
			return again{errors.New("the answer is incomplete")}
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

// again marks an error after which it is tried anew.
type again struct{ error }

func (e again) Unwrap() error { return e.error }

// StatusError is an answer that is no success.
type StatusError struct{ Status int }

func (e StatusError) Error() string { return fmt.Sprintf("status %d", e.Status) }

// ask asks for a resource, in its turn and more than once where that may help, and has
// a successful answer taken.
func (a *Archive) ask(ctx context.Context, what, path string, query url.Values, accept string, take func(*http.Response) error) error {
	backoff := a.Backoff
	for try := 1; ; try++ {
		if err := a.turn(ctx); err != nil {
			return err
		}
		pause, err := a.once(ctx, path, query, accept, take)
		var retry again
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case !errors.As(err, &retry) || try >= a.Tries:
			return fmt.Errorf("%s: %w", what, err)
		}
		if err := sleep(ctx, max(pause, backoff+rand.N(backoff/4+1))); err != nil {
			return err
		}
		backoff *= 2
	}
}

// mostPause bounds what an archive may have us wait.
const mostPause = 5 * time.Minute

// once asks once. Pause is how long the archive wants to be left alone.
func (a *Archive) once(ctx context.Context, path string, query url.Values, accept string, take func(*http.Response) error) (pause time.Duration, err error) {
	to := a.URL.JoinPath(path)
	to.RawQuery = query.Encode()
	ctx, stop := context.WithTimeout(ctx, a.Longest)
	defer stop() // ends what is not read to its end
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, to.String(), nil)
	if err != nil {
		return 0, errors.New("the URL of the archive cannot be used")
	}
	r.Header.Set("Accept", accept)
	if a.Authorize != nil {
		a.Authorize(r)
	}
	answer, err := a.HTTP.Do(r)
	if err != nil {
		return 0, again{innermost(err)} // without the URL
	}
	defer answer.Body.Close()
	switch answer.StatusCode {
	case http.StatusOK, http.StatusPartialContent, http.StatusNoContent:
		return 0, take(answer)
	case http.StatusRequestTimeout, http.StatusTooManyRequests, http.StatusInternalServerError, http.StatusBadGateway, http.StatusServiceUnavailable, http.StatusGatewayTimeout:
		n, _ := strconv.Atoi(answer.Header.Get("Retry-After")) // a date, which it may be too, counts as none
		return min(time.Duration(max(n, 0))*time.Second, mostPause), again{StatusError{answer.StatusCode}}
	}
	return 0, StatusError{answer.StatusCode}
}

func innermost(err error) error {
	for errors.Unwrap(err) != nil {
		err = errors.Unwrap(err)
	}
	return err
}

// turn waits until the next request may be made.
func (a *Archive) turn(ctx context.Context) error {
	err := sleep(ctx, a.Pause-time.Since(a.last))
	a.last = time.Now()
	return err
}

func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}
