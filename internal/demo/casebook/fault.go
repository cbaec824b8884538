package casebook

import (
	"slices"

	"echotally/internal/phantom"
)

// fault is a kind of fault: how it is seeded and what must come of it.
type fault struct {
	kind, text string
	profile    string // of the study it is seeded into
	dialect    string
	rules      []string
	also       []string
	outcome    string
	measurand  string

	shots        func([]phantom.Shot) []phantom.Shot // on the images; such a study has some
	scored       bool                                // it is about z-scores; such a study has some
	unreferenced bool                                // the report does not name them
	unasked      bool                                // the report does not say why the study was wanted
	walled       bool                                // it is about segments of the wall; such a study scores them

	before func(*phantom.Subject)     // on the subject, before anything is measured
	heart  func(*phantom.Circulation) // on the heart, before anything is measured
	record func(*phantom.Header)      // on how the study is filed
	seed   func(*phantom.Record)      // on the record
	spoil  func(*Case, sender)        // on the study's objects
}

// faults is every kind of fault the lab shows.
func faults() []fault {
	return slices.Concat(
		viewFaults(), jetFaults(), gradeFaults(), inflowFaults(), stenosisFaults(),
		rightHeartFaults(), atrialFaults(), leftHeartFaults(), valveAndBodyFaults(),
		gaps(), exchanges(), slips(), contradictions(), recordFaults(), objectFaults(), imageFaults(), scoreFaults(),
	)
}
