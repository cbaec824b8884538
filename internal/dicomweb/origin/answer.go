package origin

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"

	"echotally/internal/spool"
)

// answer is what became of the objects of a request.
type answer struct {
	fault   string // of the request itself, nothing of which was stored
	stored  []spool.Identity
	failed  []failure
	unknown []spool.Status // of what does not say what it is
	tooLong bool           // an object was
}

type failure struct {
	spool.Identity
	reason spool.Status
}

func (a *answer) add(is spool.Identity, status spool.Status) {
	switch {
	case status == spool.Success:
		a.stored = append(a.stored, is)
	case is.Instance == "" || is.Class == "":
		a.unknown = append(a.unknown, status)
	default:
		a.failed = append(a.failed, failure{is, status})
	}
}

// status is that of table 10.5.3-1 of PS3.18; where nothing was stored for want of
// room alone, the sender may try again.
func (a *answer) status() int {
	refused := len(a.failed) + len(a.unknown)
	switch {
	case refused == 0:
		return http.StatusOK
	case len(a.stored) > 0:
		return http.StatusAccepted
	case a.tooLong:
		return http.StatusRequestEntityTooLarge
	}
	for _, f := range a.failed {
		if f.reason != spool.OutOfResources {
			return http.StatusConflict
		}
	}
	if slices.ContainsFunc(a.unknown, func(reason spool.Status) bool { return reason != spool.OutOfResources }) {
		return http.StatusConflict
	}
	return http.StatusServiceUnavailable
}

// warning is the header of that name (RFC 7234 section 5.5).
func warning(refused int) string {
	return fmt.Sprintf("299 echotally \"%d objects were not stored\"", refused)
}

// attribute is one of the DICOM JSON model (PS3.18 annex F).
type attribute struct {
	VR    string `json:"vr"`
	Value []any  `json:"Value,omitempty"`
}

// module is the Store Instances Response Module (PS3.18 annex I). Nothing can be
// retrieved here, so that Retrieve URL, which has to be there, is empty.
func (a *answer) module() []byte {
	type set = map[string]attribute
	refer := func(is spool.Identity) set {
		return set{"00081150": {"UI", []any{is.Class}}, "00081155": {"UI", []any{is.Instance}}}
	}
	out := set{"00081190": {VR: "UR"}}
	sequence := func(tag string, items []any) {
		if len(items) > 0 {
			out[tag] = attribute{"SQ", items}
		}
	}
	var stored, failed, unknown []any
	for _, is := range a.stored {
		item := refer(is)
		item["00081190"] = attribute{VR: "UR"}
		stored = append(stored, item)
	}
	for _, f := range a.failed {
		item := refer(f.Identity)
		item["00081197"] = attribute{"US", []any{uint16(f.reason)}}
		failed = append(failed, item)
	}
	for _, reason := range a.unknown {
		unknown = append(unknown, set{"00081197": {"US", []any{uint16(reason)}}})
	}
	sequence("00081199", stored)
	sequence("00081198", failed)
	sequence("0008119A", unknown)
	b, err := json.Marshal(out)
	if err != nil {
		return []byte("{}") // cannot happen: texts and numbers
	}
	return b
}
