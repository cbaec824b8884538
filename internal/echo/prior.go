package echo

// Prior is the latest earlier study under the patient ID of a study, as far as
// the study is compared with it. It says of the person only whether the birth
// dates agree.
type Prior struct {
	StudyDate    string        `cbor:"1,keyasint,omitempty"` // DA as written, "" when the values are quoted without one
	BirthDate    Agreement     `cbor:"2,keyasint,omitempty"`
	PatientSex   string        `cbor:"3,keyasint,omitempty"` // M, F, O, "" unknown
	Measurements []Measurement `cbor:"4,keyasint,omitempty"` // named results that count
	Quoted       bool          `cbor:"5,keyasint,omitempty"` // from the study's own report, which quotes earlier findings
}

// Agreement says how an attribute of two studies compares.
type Agreement string

// Agreements; "" when one of the two does not record it.
const (
	Agrees  Agreement = "agrees"
	Differs Agreement = "differs"
)
