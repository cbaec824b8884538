// Package send owns storing as user agent: objects are posted to a service over the web
// (PS3.18), and what it says became of each is read under bounds.
package send

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net"
	"net/http"
	"net/textproto"
	"net/url"
	"strings"

	"echotally/internal/spool"
)

// Service is where objects are posted: the Store transaction of a DICOM web service
// (PS3.18 section 10.5).
type Service struct {
	URL    string // of the service; /studies is added where it does not end so
	Token  string // bearer token, "" for none
	Client *http.Client
}

// Outgoing is an object that is posted. Write writes it as a file.
type Outgoing struct {
	Instance string
	Write    func(io.Writer) error
}

// mostAnswer bounds what is read of an answer: a few objects are told in some kB.
const mostAnswer = 1 << 20

// Resource is the address that objects are posted to.
func (s *Service) Resource() (string, error) {
	u, err := url.Parse(s.URL)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		return "", errors.New("the address has to begin with https:// or http:// and hold neither a query nor a password")
	}
	if ip := net.ParseIP(u.Hostname()); u.Scheme == "http" && u.Hostname() != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return "", errors.New("the objects name a patient: an address on another machine has to begin with https://")
	}
	if !strings.HasSuffix(strings.TrimRight(u.Path, "/"), "/studies") {
		u = u.JoinPath("studies")
	}
	return u.String(), nil
}

// Post sends the objects in one request and gives the status of each. The error says
// that nothing is known of any.
func (s *Service) Post(ctx context.Context, objects []Outgoing) ([]spool.Status, error) {
	to, err := s.Resource()
	if err != nil {
		return nil, err
	}
	body, kind, err := multipartOf(objects)
	if err != nil {
		return nil, err
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, to, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	request.Header.Set("Content-Type", kind)
	request.Header.Set("Accept", "application/dicom+json")
	if s.Token != "" {
		request.Header.Set("Authorization", "Bearer "+s.Token)
	}
	response, err := s.Client.Do(request)
	if err != nil {
		return nil, err
	}
	defer response.Body.Close()
	if kind, _, _ := mime.ParseMediaType(response.Header.Get("Content-Type")); kind == "text/html" {
		return nil, errors.New("a web page answered, not a DICOM web service (perhaps a proxy that asks to sign in)") // that of signing in at a proxy, say: its 200 stores nothing
	}
	said, err := io.ReadAll(io.LimitReader(response.Body, mostAnswer))
	if err != nil {
		return nil, fmt.Errorf("the answer: %w", err)
	}
	return answered(response.StatusCode, said, objects)
}

func multipartOf(objects []Outgoing) (body []byte, kind string, err error) {
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for _, o := range objects {
		part, err := w.CreatePart(textproto.MIMEHeader{"Content-Type": {"application/dicom"}})
		if err == nil {
			err = o.Write(part)
		}
		if err != nil {
			return nil, "", err
		}
	}
	err = w.Close()
	return b.Bytes(), `multipart/related; type="application/dicom"; boundary=` + w.Boundary(), err
}

// storeAnswer is a Store Instances Response Module in the DICOM JSON model (PS3.18
// sections 10.5.3 and F.2), as far as it is asked for.
type storeAnswer struct {
	Failed struct {
		Value []struct {
			Instance texts `json:"00081155"`
			Reason   struct {
				Value []uint16 `json:"Value"`
			} `json:"00081197"`
		} `json:"Value"`
	} `json:"00081198"`
	Stored struct {
		Value []struct {
			Instance texts `json:"00081155"`
			Warning  struct {
				Value []uint16 `json:"Value"`
			} `json:"00081196"`
		} `json:"Value"`
	} `json:"00081199"`
}

type texts struct {
	Value []string `json:"Value"`
}

func (t texts) first() string {
	if len(t.Value) == 0 {
		return ""
	}
	return strings.TrimRight(t.Value[0], " \x00")
}

// answered reads an answer. Only what it confirms is taken for stored; a success (200) that
// names no object confirms all.
func answered(status int, said []byte, objects []Outgoing) ([]spool.Status, error) {
	switch status {
	case http.StatusOK, http.StatusAccepted, http.StatusConflict:
	case http.StatusUnauthorized, http.StatusForbidden:
		return nil, fmt.Errorf("the service does not allow us to store (status %d)", status)
	default:
		return nil, fmt.Errorf("the service answers with status %d", status)
	}
	var answer storeAnswer
	named := json.Unmarshal(said, &answer) == nil && len(answer.Failed.Value)+len(answer.Stored.Value) > 0
	by := map[string]spool.Status{}
	for _, one := range answer.Stored.Value {
		by[one.Instance.first()] = spool.Success
		if len(one.Warning.Value) > 0 {
			by[one.Instance.first()] = warned(spool.Status(one.Warning.Value[0]))
		}
	}
	for _, one := range answer.Failed.Value { // wins where both are said
		by[one.Instance.first()] = spool.NotProcessed
		if len(one.Reason.Value) > 0 && !spool.Status(one.Reason.Value[0]).Stored() {
			by[one.Instance.first()] = spool.Status(one.Reason.Value[0])
		}
	}
	out := make([]spool.Status, len(objects))
	for i, o := range objects {
		is, known := by[o.Instance]
		switch {
		case named && known:
			out[i] = is
		case !named && status == http.StatusOK:
			out[i] = spool.Success
		default:
			out[i] = spool.Unconfirmed
		}
	}
	return out, nil
}

// warned is a warning as far as it is one of those known.
func warned(s spool.Status) spool.Status {
	if s.Stored() {
		return s
	}
	return spool.Coerced
}
