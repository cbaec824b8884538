package fhir

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/layout"
)

// Handler answers GET with the measures of a period, as a FHIR server does, and changes
// nothing: it knows /metadata, /MeasureReport and /Measure with ?period=2026-10 (or a
// quarter, 2026-Q3, or a year), and either by its identifier with the same parameter. It
// is mounted below a path by http.StripPrefix; who may ask is for whoever mounts it.
type Handler struct {
	// Report counts a period; nil without an error says that there is nothing to count,
	// [ErrCounting] that it is not counted yet.
	Report func(ctx context.Context, period audit.Period) (*audit.Report, error)
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
	kind, id, _ := strings.Cut(strings.Trim(r.URL.Path, "/"), "/")
	switch kind {
	case "metadata":
		answer(w, http.StatusOK, capability())
	case "MeasureReport", "Measure":
		h.measures(w, r, kind, id)
	default:
		refuse(w, http.StatusNotFound, "not-found", "there is no such resource; /metadata says which there are")
	}
}

func (h *Handler) measures(w http.ResponseWriter, r *http.Request, kind, id string) {
	period, err := periodOf(r.URL.Query().Get("period"))
	if err != nil {
		refuse(w, http.StatusBadRequest, "invalid", "period is a month, a quarter or a year, such as 2026-10, 2026-Q3 or 2026")
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
	case report == nil:
		refuse(w, http.StatusNotFound, "not-found", "no study of this period")
		return
	}
	found := &Bundle{ResourceType: "Bundle", ID: uuid("search", kind, report.LabName(), period.Name), Meta: cautioned(), Type: "searchset", Timestamp: stamp(report.Options.Created)}
	for _, e := range Summary(report).Entry {
		of, is := e.Resource.(*MeasureReport)
		m, _ := e.Resource.(*Measure)
		switch {
		case id != "" && (is && kind == "MeasureReport" && of.ID == id || m != nil && kind == "Measure" && m.ID == id):
			answer(w, http.StatusOK, e.Resource)
			return
		case is == (kind == "MeasureReport"):
			e.Search = &Search{Mode: "match"}
			found.Entry = append(found.Entry, e)
		}
	}
	if id != "" {
		refuse(w, http.StatusNotFound, "not-found", "no such "+kind+" in this period")
		return
	}
	n := len(found.Entry)
	found.Total = &n
	answer(w, http.StatusOK, found)
}

func periodOf(text string) (audit.Period, error) {
	for _, read := range []func(string) (audit.Period, error){audit.Month, audit.Quarter} {
		if p, err := read(text); err == nil {
			return p, nil
		}
	}
	return audit.Year(text)
}

func answer(w http.ResponseWriter, status int, resource any) {
	w.Header().Set("Content-Type", mediaType)
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(resource) // the caller is gone
}

func refuse(w http.ResponseWriter, status int, code, why string) {
	answer(w, status, &OperationOutcome{ResourceType: "OperationOutcome", Issue: []Issue{{Severity: "error", Code: code, Diagnostics: why}}})
}

// CapabilityStatement says what a server does.
type CapabilityStatement struct {
	ResourceType string   `json:"resourceType"`
	Status       string   `json:"status"`
	Date         string   `json:"date"`
	Kind         string   `json:"kind"`
	Description  string   `json:"description"`
	Software     Software `json:"software"`
	FHIRVersion  string   `json:"fhirVersion"`
	Format       []string `json:"format"`
	Rest         []Rest   `json:"rest"`
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
}

// capabilityDate is when what is answered last changed.
const capabilityDate = "2026-11-30"

func capability() *CapabilityStatement {
	out := &CapabilityStatement{
		ResourceType: "CapabilityStatement", Status: "active", Date: capabilityDate, Kind: "capability", Description: "Measures of a lab's records. " + layout.Caution,
		Software: Software{"echotally"}, FHIRVersion: "4.0.1", Format: []string{"json"}, Rest: []Rest{{Mode: "server"}},
	}
	for _, kind := range []string{"Measure", "MeasureReport"} {
		out.Rest[0].Resource = append(out.Rest[0].Resource, RestResource{
			Type: kind, Interaction: []RestInteraction{{"read"}, {"search-type"}}, SearchParam: []RestParameter{{"period", "date"}},
		})
	}
	return out
}
