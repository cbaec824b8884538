package echo

// Prior is the latest earlier study under the patient ID of a study, as far as
// the study is compared with it. It says of the person only whether the birth
// dates agree.
type Prior struct {
	StudyDate    string // DA as written, "" when the values are quoted without one
	BirthDate    Agreement
	PatientSex   string        // M, F, O, "" unknown
	Measurements []Measurement // named results that count
	Quoted       bool          // from the study's own report, which quotes earlier findings
}

// Agreement says how an attribute of two studies compares.
type Agreement string

// Agreements; "" when one of the two does not record it.
const (
	Agrees  Agreement = "agrees"
	Differs Agreement = "differs"
)
