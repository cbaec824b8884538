// Package request owns the requests of a user agent of DICOM over the web: one after the
// other and not too many of them, each within bounds of time, made anew where that may
// help. No error names what was asked for.
package request

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strconv"
	"time"
)

// Client asks an origin server. It is for one goroutine.
type Client struct {
	URL       *url.URL // base, as https://archive.example.org/dicomweb
	HTTP      *http.Client
	Authorize func(*http.Request) // adds what shows who asks; nil for nobody

	Pause   time.Duration // between requests, at least
	Backoff time.Duration // before the first try anew, doubled each time
	Tries   int           // of a request
	Longest time.Duration // an answer may take, to its end

	last time.Time // of a request
}

// Defaults of a client (site choice): six tries within about a minute, half an hour for
// the largest of objects.
const (
	DefaultBackoff = time.Second
	DefaultTries   = 6
	DefaultLongest = 30 * time.Minute
)

// Again marks an error of taking an answer after which the request is made anew.
func Again(err error) error { return again{err} }

type again struct{ error }

func (e again) Unwrap() error { return e.error }

// StatusError is an answer that is no success.
type StatusError struct{ Status int }

func (e StatusError) Error() string { return fmt.Sprintf("status %d", e.Status) }

// Ask asks for a resource, in its turn and more than once where that may help, and has
// a successful answer taken.
func (c *Client) Ask(ctx context.Context, what, path string, query url.Values, accept string, take func(*http.Response) error) error {
	backoff := c.Backoff
	for try := 1; ; try++ {
		if err := c.turn(ctx); err != nil {
			return err
		}
		pause, err := c.once(ctx, path, query, accept, take)
		var retry again
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case !errors.As(err, &retry) || try >= c.Tries:
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
func (c *Client) once(ctx context.Context, path string, query url.Values, accept string, take func(*http.Response) error) (pause time.Duration, err error) {
	to := c.URL.JoinPath(path)
	to.RawQuery = query.Encode()
	ctx, stop := context.WithTimeout(ctx, c.Longest)
	defer stop() // ends what is not read to its end
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, to.String(), nil)
	if err != nil {
		return 0, errors.New("the URL of the archive cannot be used")
	}
	r.Header.Set("Accept", accept)
	if c.Authorize != nil {
		c.Authorize(r)
	}
	answer, err := c.HTTP.Do(r)
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
func (c *Client) turn(ctx context.Context) error {
	err := sleep(ctx, c.Pause-time.Since(c.last))
	c.last = time.Now()
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
