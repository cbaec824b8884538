package casebook

// Truth is what is wrong in the demo lab, for tests and for readers.
type Truth struct {
	SchemaVersion int          `json:"schemaVersion"`
	Lab           string       `json:"lab"`
	Seed          uint64       `json:"seed"`
	Studies       []StudyTruth `json:"studies"`
}

// StudyTruth is what is wrong in one study.
type StudyTruth struct {
	StudyInstanceUID string       `json:"studyInstanceUID"`
	Folder           string       `json:"folder"`
	Dialect          string       `json:"dialect"`
	Profile          string       `json:"profile"`
	Clean            bool         `json:"clean"` // nothing above information is to be reported
	Faults           []FaultTruth `json:"faults,omitempty"`
}

// FaultTruth is one seeded fault and what an audit must say of it.
type FaultTruth struct {
	Kind      string   `json:"kind"`
	Text      string   `json:"text"`
	Rules     []string `json:"rules,omitempty"` // each must report
	Also      []string `json:"also,omitempty"`  // may report too, as a consequence
	Outcome   string   `json:"outcome"`         // fail, review, open, excused; or partial, refused, ignored, superseded, duplicate for objects
	Measurand string   `json:"measurand,omitempty"`

	SOPInstanceUID string `json:"sopInstanceUID,omitempty"`
	Item           string `json:"item,omitempty"` // position path of the first item concerned
}
