// Package service owns the handler that answers requests of FHIR with the measures of a lab.
package service

import (
	"context"
	"encoding/json"
	"errors"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/fhir"
	"echotally/internal/fhir/resource"
	"echotally/internal/layout"
)

// Handler answers GET with the measures of a period, as a FHIR server does, and changes
// nothing: it knows /metadata, /MeasureReport and /Measure with ?period=2026-10 (or a
// quarter, 2026-Q3, or a year), and either by its identifier with the same parameter. What
// it cannot answer is an OperationOutcome with the status that R4 gives it. It
// is mounted below a path by http.StripPrefix; who may ask is for whoever mounts it.
type Handler struct {
	// Report counts a period; nil without an error says that there is nothing to count,
	// [ErrCounting] that it is not counted yet.
	Report func(ctx context.Context, period calendar.Period) (*audit.Report, error)
	// Failed is told of an error of Report, of which a caller learns no more than that it
	// happened; it may be nil.
	Failed func(error)
}

// ErrCounting says that a period is still being counted: whoever asks is to ask again.
var ErrCounting = errors.New("the period is being counted")

// mediaType is that of FHIR as JSON.
const mediaType = "application/fhir+json"

// ServeHTTP answers one request.
func (h *Handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "no-store")
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		refuse(w, http.StatusMethodNotAllowed, "not-supported", "this server is read-only: GET and HEAD are answered")
		return
	}
	query, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		refuse(w, http.StatusBadRequest, "invalid", "the parameters cannot be read")
		return
	}
	if !takesJSON(query["_format"], r.Header.Values("Accept")) {
		refuse(w, http.StatusNotAcceptable, "not-supported", "answers are "+mediaType)
		return
	}
	kind, id, _ := strings.Cut(strings.Trim(r.URL.Path, "/"), "/")
	switch {
	case kind == "metadata" && id == "":
		answer(w, http.StatusOK, capability())
	case kind == "MeasureReport" || kind == "Measure":
		h.measures(w, r, query, kind, id)
	default:
		refuse(w, http.StatusNotFound, "not-found", "there is no such resource; /metadata says which there are")
	}
}

// takesJSON reports whether the caller takes JSON: what _format says wins over the media
// types of Accept (R4 section 3.1.0.1.11). Without either, anything is taken.
func takesJSON(format, accept []string) bool {
	if len(format) > 0 {
		accept = format
	}
	if len(accept) == 0 {
		return true
	}
	for _, one := range strings.Split(strings.Join(accept, ","), ",") {
		kind, with, err := mime.ParseMediaType(strings.ReplaceAll(one, " json", "+json")) // a + in a query is a space
		if weight, wrong := strconv.ParseFloat(with["q"], 64); err != nil || wrong == nil && weight == 0 {
			continue
		}
		switch kind {
		case "json", "text/json", "application/json", mediaType, "application/*", "*/*":
			return true
		}
	}
	return false
}

func (h *Handler) measures(w http.ResponseWriter, r *http.Request, query url.Values, kind, id string) {
	asked := query["period"]
	if len(asked) != 1 {
		refuse(w, http.StatusBadRequest, "invalid", "one period has to be asked for"+suchAs)
		return
	}
	period, err := periodOf(strings.TrimPrefix(asked[0], "eq"))
	if err != nil || strings.HasPrefix(period.Name, "0000") { // no year of R4
		refuse(w, http.StatusBadRequest, "invalid", "period is a month, a quarter or a year"+suchAs)
		return
	}
	report, err := h.Report(r.Context(), period)
	switch {
	case errors.Is(err, ErrCounting):
		w.Header().Set("Retry-After", "2")
		refuse(w, http.StatusServiceUnavailable, "transient", err.Error()+"; ask again")
		return
	case err != nil:
		if h.Failed != nil {
			h.Failed(err)
		}
		refuse(w, http.StatusInternalServerError, "exception", "the period could not be counted")
		return
	case report == nil && id != "":
		refuse(w, http.StatusNotFound, "not-found", "no study of this period")
		return
	}
	found := &resource.Bundle{ResourceType: "Bundle", Meta: resource.Cautioned(), Type: "searchset", Link: []resource.Link{{Relation: "self", URL: kind + "?period=" + url.QueryEscape(period.Name)}}}
	n := 0
	if found.Total = &n; report == nil {
		found.ID = resource.ID("search", kind, period.Name)
		found.Entry = []resource.Entry{{Resource: outcome("information", "not-found", "no study of this period"), Search: &resource.Search{Mode: "outcome"}}}
		answer(w, http.StatusOK, found)
		return
	}
	found.ID, found.Timestamp = resource.ID("search", kind, report.LabName(), period.Name), resource.Stamp(report.Options.Created)
	for _, e := range fhir.Summary(report).Entry {
		of, is := e.Resource.(*resource.MeasureReport)
		m, _ := e.Resource.(*resource.Measure)
		switch {
		case id != "" && (is && kind == "MeasureReport" && of.ID == id || m != nil && kind == "Measure" && m.ID == id):
			answer(w, http.StatusOK, e.Resource)
			return
		case is == (kind == "MeasureReport"):
			e.Search = &resource.Search{Mode: "match"}
			found.Entry = append(found.Entry, e)
		}
	}
	if id != "" {
		refuse(w, http.StatusNotFound, "not-found", "no such "+kind+" in this period")
		return
	}
	n = len(found.Entry)
	answer(w, http.StatusOK, found)
}

const suchAs = ", such as period=2026-10, 2026-Q3 or 2026"

func periodOf(text string) (calendar.Period, error) {
	for _, read := range []func(string) (calendar.Period, error){calendar.Month, calendar.Quarter} {
		if p, err := read(text); err == nil {
			return p, nil
		}
	}
	return calendar.Year(text)
}

func answer(w http.ResponseWriter, status int, resource any) {
	w.Header().Set("Content-Type", mediaType)
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(resource) // the caller is gone
}

// Refuse answers for a server that does not let a request come to the handler, in the
// form that the handler has.
func Refuse(w http.ResponseWriter, status int, why string) {
	code := map[int]string{ // R4, issue-type
		http.StatusUnauthorized: "login", http.StatusForbidden: "forbidden", http.StatusNotFound: "not-found",
		http.StatusInternalServerError: "exception", http.StatusServiceUnavailable: "transient",
	}[status]
	if code == "" {
		code = "processing"
	}
	w.Header().Set("Cache-Control", "no-store")
	refuse(w, status, code, why)
}

func refuse(w http.ResponseWriter, status int, code, why string) {
	answer(w, status, outcome("error", code, why))
}

func outcome(severity, code, why string) *resource.OperationOutcome {
	return &resource.OperationOutcome{ResourceType: "OperationOutcome", Issue: []resource.Issue{{Severity: severity, Code: code, Diagnostics: why}}}
}

// CapabilityStatement says what a server does.
type CapabilityStatement struct {
	ResourceType string   `json:"resourceType"`
	Status       string   `json:"status"`
	Date         string   `json:"date"`
	Kind         string   `json:"kind"`
	Software     Software `json:"software"`
	Running      Running  `json:"implementation"`
	FHIRVersion  string   `json:"fhirVersion"`
	Format       []string `json:"format"`
	Rest         []Rest   `json:"rest"`
}

// Running is the server that says so.
type Running struct {
	Description string `json:"description"`
}

// Software is what answers.
type Software struct {
	Name string `json:"name"`
}

// Rest is what is answered.
type Rest struct {
	Mode     string         `json:"mode"`
	Resource []RestResource `json:"resource"`
}

// RestResource is what is answered of one type.
type RestResource struct {
	Type        string            `json:"type"`
	Text        string            `json:"documentation"`
	Interaction []RestInteraction `json:"interaction"`
	SearchParam []RestParameter   `json:"searchParam"`
}

// RestInteraction is a way of asking.
type RestInteraction struct {
	Code string `json:"code"`
}

// RestParameter is what may be asked by.
type RestParameter struct {
	Name string `json:"name"`
	Type string `json:"type"`
	Text string `json:"documentation"`
}

// capabilityDate is when what is answered last changed.
const capabilityDate = "2026-11-30"

// capability is of the server that is asked (kind instance), as R4 wants of /metadata.
func capability() *CapabilityStatement {
	out := &CapabilityStatement{
		ResourceType: "CapabilityStatement", Status: "active", Date: capabilityDate, Kind: "instance", Running: Running{"Measures of a lab's records, read-only. " + layout.Caution},
		Software: Software{"echotally"}, FHIRVersion: "4.0.1", Format: []string{"json", mediaType}, Rest: []Rest{{Mode: "server"}},
	}
	for _, kind := range []string{"Measure", "MeasureReport"} {
		out.Rest[0].Resource = append(out.Rest[0].Resource, RestResource{
			Type: kind, Text: "One of them is read by its id together with the period it was found in: " + kind + "/[id]?period=2026-10.",
			Interaction: []RestInteraction{{"search-type"}},
			SearchParam: []RestParameter{{"period", "date", "Needed, once: a month (2026-10), a quarter (2026-Q3) or a year (2026) of study dates. No prefix but eq; other parameters are ignored."}},
		})
	}
	return out
}
