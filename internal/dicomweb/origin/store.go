// Package origin owns the store transaction as origin server (PS3.18). Senders are not
// trusted: every length and number is held against a bound, every wait has an end, and what
// comes goes to the spool like anything that is received. No request path or error that is
// logged names a study.
package origin

import (
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/identifier"
	"echotally/internal/spool"
)

// Store is the origin server of the store transaction (PS3.18 section 10.5), for
// application/dicom in multipart/related. An object counts as stored when it is in the
// spool and on the disk.
type Store struct {
	Spool   *spool.Spool
	Storage func(class string) bool // SOP classes that are taken
	Token   string                  // what a bearer has to show (RFC 6750); "" for nothing
	Log     zerolog.Logger

	Idle        time.Duration // longest wait for the peer to send something
	MostBytes   int64         // of an object
	MostRequest int64         // bytes of a request
	MostObjects int           // of a request: each has its answer, which is kept until the end
}

// Base is where the service is: studies are stored to Base/studies.
const Base = "/dicomweb"

// Handler answers requests.
func (s *Store) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc(Base+"/studies", s.serve)
	mux.HandleFunc(Base+"/studies/{study}", s.serve)
	return mux
}

func (s *Store) serve(w http.ResponseWriter, r *http.Request) {
	status, answer := s.answer(w, r)
	s.Log.Info().Int("status", status).Int("stored", len(answer.stored)).Int("refused", len(answer.failed)+len(answer.unknown)).Msg("STOW-RS")
	switch status {
	case http.StatusUnauthorized:
		w.Header().Set("WWW-Authenticate", `Bearer realm="echotally"`)
	case http.StatusMethodNotAllowed:
		w.Header().Set("Allow", http.MethodPost)
	case http.StatusServiceUnavailable:
		w.Header().Set("Retry-After", "60")
	}
	if answer.fault != "" {
		http.Error(w, answer.fault, status)
		return
	}
	w.Header().Set("Content-Type", "application/dicom+json")
	if refused := len(answer.failed) + len(answer.unknown); status == http.StatusAccepted {
		w.Header().Set("Warning", warning(refused))
	}
	w.WriteHeader(status)
	_, _ = w.Write(answer.module()) // a peer that hung up sends again
}

// answer takes a request. What was stored before a fault stays, and is told.
func (s *Store) answer(w http.ResponseWriter, r *http.Request) (int, *answer) {
	study := r.PathValue("study")
	switch {
	case !s.admits(r):
		return http.StatusUnauthorized, &answer{fault: "a bearer token is needed"}
	case r.Method != http.MethodPost:
		return http.StatusMethodNotAllowed, &answer{fault: "only POST is answered: objects can be stored here, not searched for or retrieved"}
	case study != "" && !identifier.IsUID(study):
		return http.StatusBadRequest, &answer{fault: "the study in the address is not a UID"}
	case !takesJSON(r.Header.Values("Accept")):
		return http.StatusNotAcceptable, &answer{fault: "the answer can only be application/dicom+json"}
	case r.ContentLength > s.MostRequest:
		return http.StatusRequestEntityTooLarge, &answer{fault: "the request is larger than allowed"}
	}
	kind, parameters, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if root := parameters["type"]; err != nil || kind != "multipart/related" || root != "" && root != "application/dicom" {
		return http.StatusUnsupportedMediaType, &answer{fault: "objects have to come as multipart/related; type=\"application/dicom\""}
	}
	if parameters["boundary"] == "" {
		return http.StatusBadRequest, &answer{fault: "Content-Type has no boundary"}
	}
	a := &answer{}
	body := &patient{from: http.MaxBytesReader(w, r.Body, s.MostRequest), control: http.NewResponseController(w), idle: s.Idle}
	err = s.parts(multipart.NewReader(body, parameters["boundary"]), study, a)
	var tooLong *http.MaxBytesError
	switch {
	case errors.As(err, &tooLong), errors.Is(err, errTooMany):
		if len(a.stored)+len(a.failed)+len(a.unknown) == 0 {
			a.fault = "the request is larger than allowed"
		}
		return http.StatusRequestEntityTooLarge, a
	case err != nil && len(a.stored) == 0:
		return http.StatusBadRequest, &answer{fault: "the parts of the request cannot be read, or the request is incomplete"}
	case err != nil:
		a.unknown = append(a.unknown, spool.CannotUnderstand)
	case len(a.stored)+len(a.failed)+len(a.unknown) == 0:
		return http.StatusBadRequest, &answer{fault: "the request holds no object"}
	}
	return a.status(), a
}

var errTooMany = errors.New("more objects than are taken at a time")

// parts takes part after part to the spool.
func (s *Store) parts(parts *multipart.Reader, study string, a *answer) error {
	for n := 0; ; n++ {
		part, err := parts.NextRawPart()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		case n == s.MostObjects:
			return errTooMany
		}
		kind, _, err := mime.ParseMediaType(part.Header.Get("Content-Type"))
		if err != nil || kind != "application/dicom" {
			if _, err := io.Copy(io.Discard, part); err != nil {
				return err
			}
			a.unknown = append(a.unknown, spool.CannotUnderstand)
			continue
		}
		if err := s.object(part, study, a); err != nil {
			return err
		}
	}
}

// object takes one object. An error is one of the request, not of the object.
func (s *Store) object(part io.Reader, study string, a *answer) error {
	in := s.Spool.Begin(s.MostBytes)
	size, err := io.Copy(in, part)
	if err != nil {
		in.Drop()
		return err
	}
	is, status := in.Finish(func(is spool.Identity) (spool.Status, error) {
		switch {
		case !s.Storage(is.Class):
			return spool.ClassNotSupported, errors.New("its SOP class is not accepted")
		case study != "" && is.Study != study:
			return spool.DoesNotMatch, errors.New("it belongs to another study than the address names")
		}
		return spool.Success, nil
	})
	a.add(is, status)
	a.tooLong = a.tooLong || size > s.MostBytes
	return nil
}

// admits reports whether a request shows the token.
func (s *Store) admits(r *http.Request) bool {
	if s.Token == "" {
		return true
	}
	scheme, shown, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	is, want := sha256.Sum256([]byte(strings.TrimSpace(shown))), sha256.Sum256([]byte(s.Token))
	return subtle.ConstantTimeCompare(is[:], want[:]) == 1 && strings.EqualFold(scheme, "Bearer")
}

// takesJSON reports whether one of the media types of Accept is what is answered.
// Without any, everything is (RFC 9110 section 12.5.1).
func takesJSON(accept []string) bool {
	if len(accept) == 0 {
		return true
	}
	for _, one := range strings.Split(strings.Join(accept, ","), ",") {
		switch kind, _, _ := strings.Cut(one, ";"); strings.ToLower(strings.TrimSpace(kind)) {
		case "application/dicom+json", "application/json", "application/*", "*/*", "":
			return true
		}
	}
	return false
}

// patient reads a body whose sender may pause, but not for too long.
type patient struct {
	from    io.Reader
	control *http.ResponseController
	idle    time.Duration
}

func (p *patient) Read(b []byte) (int, error) {
	_ = p.control.SetReadDeadline(time.Now().Add(p.idle)) // where it cannot be set, that of the server holds
	return p.from.Read(b)
}
