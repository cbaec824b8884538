package rule

import (
	"fmt"

	"echotally/internal/datafile/written"
	"echotally/internal/term"
)

// File is the rule file as written, or one row of it; its keys are explained in
// rules/README.md.
type File struct {
	Identifier string `yaml:"identifier"`
	Version    string `yaml:"version"`
	Title      string `yaml:"title"`
	Status     string `yaml:"status"`
	Kind       string `yaml:"kind"`
	Severity   string `yaml:"severity"`

	Purpose         string     `yaml:"purpose"`
	Usage           string     `yaml:"usage"`
	KnownLimits     string     `yaml:"knownLimits"`
	RelatedArtifact []Artifact `yaml:"relatedArtifact"`
	Sources         []Artifact `yaml:"sources"` // the same, the shorter word
	Origin          string     `yaml:"origin"`  // of the numbers that do not say theirs

	AppliesTo  Applicability                  `yaml:"appliesTo"`
	Measurands map[string]*MeasurandChoice    `yaml:"measurands"`
	Statements map[string]StatementChoice     `yaml:"statements"`
	Images     map[string]ImageChoice         `yaml:"images"`
	Parameters map[string]*ParameterAsWritten `yaml:"parameters"`

	PerLab     bool              `yaml:"perLab"`     // a matter of how the lab reports: counted in its audit, on no sheet
	OpenPerLab bool              `yaml:"openPerLab"` // that it cannot be told is one
	Each       string            `yaml:"each"`       // series: the demand is made of each series of values; "" of the study
	Define     map[string]string `yaml:"define"`
	Possible   *Bounds           `yaml:"possible"`
	Usual      *Bounds           `yaml:"usual"`
	Present    *MeasurandChoice  `yaml:"present"`
	Ascending  Names             `yaml:"ascending"`
	Computed   *Computed         `yaml:"computed"`
	Require    string            `yaml:"require"`
	Recompute  *RecomputeForms   `yaml:"recompute"`
	Forbid     Names             `yaml:"forbid"`
	ZScore     *ZScoreForms      `yaml:"zScore"`
	Review     string            `yaml:"review"`
	SeverityIf []SeverityWhen    `yaml:"severityIf"`
	ExcusedBy  Names             `yaml:"excusedBy"`
	Obtain     *Obtain           `yaml:"obtain"`
	Message    string            `yaml:"message"`
	Examples   []Example         `yaml:"examples"`

	Name string           `yaml:"name"` // of what a row is about; {name} in the words of its file
	Rows map[string]*File `yaml:"rows"` // rules that share what stands before them

	DerivedFrom  string `yaml:"derivedFrom"`  // site files only
	ApprovalDate string `yaml:"approvalDate"` // site files only
	Reviewer     string `yaml:"reviewer"`     // site files only, a role
}

// EachSeries is the word for a demand made of each series of values.
const EachSeries = "series"

// Artifact says who stands behind the rule.
type Artifact struct {
	Type     string `yaml:"type"`     // citation or documentation; by the label when not given
	Label    string `yaml:"label"`    // of a work, or a plain origin
	Citation string `yaml:"citation"` // that of the work of this label when not given
	Locator  string `yaml:"locator"`
}

// Applicability says for whom a rule is.
type Applicability struct {
	Protocol Names          `yaml:"protocol"`
	Age      *written.Range `yaml:"age"`
	Sex      string         `yaml:"sex"`
	Stated   Names          `yaml:"stated"`
	Unless   Names          `yaml:"unless"`
	Edition  Names          `yaml:"edition"` // of the guidelines; every one when empty
	When     string         `yaml:"when"`
}

// ParameterAsWritten is a number with its origin.
type ParameterAsWritten struct {
	Value         written.Text    `yaml:"value"`
	Unit          string          `yaml:"unit"`
	Origin        string          `yaml:"origin"`
	Documentation string          `yaml:"documentation"`
	Cases         []CaseAsWritten `yaml:"cases"`
}

// CaseAsWritten is the value of a parameter for some patients or under one
// edition of the guidelines.
type CaseAsWritten struct {
	Sex     string         `yaml:"sex"`
	Age     *written.Range `yaml:"age"`
	Edition written.Text   `yaml:"edition"`
	Value   written.Text   `yaml:"value"`
	Origin  string         `yaml:"origin"`
}

// RecomputeForms asks that a stated value can be reached from others.
type RecomputeForms struct {
	Stated    string `yaml:"stated"`
	From      Forms  `yaml:"from"`
	Allowance string `yaml:"allowance"`

	// Declared names, by the title of a form, the codes by which an item says that
	// it was computed so: measurement methods by name, others as SCHEME:VALUE.
	Declared map[string]Names `yaml:"declared"`
}

// Forms are ways to compute a value.
type Forms []Form

// ZScoreForms asks that every z-score of the record is what its table gives.
type ZScoreForms struct {
	BodySurfaceArea []Form `yaml:"bodySurfaceArea"`
}

// Form is one way to compute the stated value.
type Form struct {
	Title string `yaml:"title"`
	Value string `yaml:"value"`
}

// SeverityWhen replaces the severity when an expression holds.
type SeverityWhen struct {
	When     string `yaml:"when"`
	Severity string `yaml:"severity"`
}

// Obtain says where and how a missing item is got.
type Obtain struct {
	Window string `yaml:"window"`
	View   string `yaml:"view"`
	How    string `yaml:"how"`
}

// Example is one test of the rule.
type Example struct {
	Title    string                  `yaml:"title"`
	Given    map[string]GivenValues  `yaml:"given"`
	Stated   Names                   `yaml:"stated"`
	Denied   Names                   `yaml:"denied"`
	Subject  *Person                 `yaml:"subject"`
	Document *ExampleDocument        `yaml:"document"`
	Differs  map[string]string       `yaml:"differs"` // what the study contradicts itself in, and within what: report or objects
	Worded   map[string]written.Text `yaml:"worded"`  // values that sentences say, by measurand
	Images   []ExampleImage          `yaml:"images"`
	Prior    *ExamplePrior           `yaml:"prior"`
	Segments []ExampleSegments       `yaml:"segments"`
	Protocol Names                   `yaml:"protocol"`
	Edition  written.Text            `yaml:"edition"`
	Outcome  string                  `yaml:"outcome"`
	Severity string                  `yaml:"severity"`
	Message  string                  `yaml:"message"` // text the message must contain

	// Beyond is what follows when a value is another: the value by its name, the
	// outcome and, where it is another too, the severity.
	Beyond map[string]written.Text `yaml:"beyond"`
}

// Person is the patient of an example.
type Person struct {
	Age written.Text `yaml:"age"`
	Sex string       `yaml:"sex"`
}

// ExamplePrior is the earlier study of an example.
type ExamplePrior struct {
	Given     map[string]GivenValues `yaml:"given"`
	Days      int                    `yaml:"days"`      // before the study; 365 when not given
	Sex       string                 `yaml:"sex"`       // that of the patient when not given
	BirthDate string                 `yaml:"birthDate"` // agrees (when not given), differs or unknown
}

// ExampleSegments are segments of the left ventricular wall of which an example
// says the same, by term names. Those without a site are taken in a fixed order.
type ExampleSegments struct {
	Count   int          `yaml:"count"` // how many; 1 when not given
	Site    string       `yaml:"site"`
	Finding string       `yaml:"finding"` // of CID 3703; "other" for a code nobody knows
	Score   written.Text `yaml:"score"`
	Scheme  string       `yaml:"scheme"`
	Stage   string       `yaml:"stage"`
}

// OtherFinding is the finding of an example's segment whose code nobody knows.
const OtherFinding = "other"

// ExampleDocument is the report of an example, for rules about the record.
type ExampleDocument struct {
	CompletionFlag   string `yaml:"completionFlag"`
	VerificationFlag string `yaml:"verificationFlag"`
	Partial          bool   `yaml:"partial"`
	Deviation        string `yaml:"deviation"` // a departure from the standard met while reading
	Reader           bool   `yaml:"reader"`    // somebody is named as having read the study
}

// Given is one measurement of an example.
type Given struct {
	Value     written.Text `yaml:"value"`
	Measurand string       `yaml:"measurand"` // when the alias stands for several
	Qualifier string       `yaml:"qualifier"` // meaning of the reason why there is no value
	Duplicate bool         `yaml:"duplicate"` // an exact copy of the value before
	Software  string       `yaml:"software"`  // version of the device's software; its maker is named with it

	ZScore             written.Text `yaml:"zScore"`             // recorded beside the value
	ReferenceAuthority string       `yaml:"referenceAuthority"` // of the z-score

	Image       int       `yaml:"image"`       // the image of the example the report refers to, from 1
	LikelyImage int       `yaml:"likelyImage"` // the one it is only likely to come from
	Modifiers   Modifiers `yaml:"-"`
}

// Modifiers are those that are given, in the order of the fields. In a file each stands
// under its own name; most values and aliases give none.
type Modifiers []FieldNames

// WrittenKeys are the names of modifiers.
func (Modifiers) WrittenKeys() []string {
	var out []string
	for _, f := range (&modifiersAsWritten{}).all() {
		out = append(out, string(f.Field))
	}
	return out
}

// modifiersAsWritten are the modifiers by term name, one or several.
type modifiersAsWritten struct {
	FindingSite           Names `yaml:"findingSite"`
	TopographicalModifier Names `yaml:"topographicalModifier"`
	Laterality            Names `yaml:"laterality"`
	ImageMode             Names `yaml:"imageMode"`
	ImageView             Names `yaml:"imageView"`
	FlowDirection         Names `yaml:"flowDirection"`
	MeasurementMethod     Names `yaml:"measurementMethod"`
	CardiacCyclePoint     Names `yaml:"cardiacCyclePoint"`
	RespiratoryCyclePoint Names `yaml:"respiratoryCyclePoint"`
	Derivation            Names `yaml:"derivation"`
	SelectionStatus       Names `yaml:"selectionStatus"`
	MeasurementDivisor    Names `yaml:"measurementDivisor"`
	MeasuredProperty      Names `yaml:"measuredProperty"`
	MeasurementType       Names `yaml:"measurementType"`
	Stage                 Names `yaml:"stage"`
}

func (m *modifiersAsWritten) all() [15]FieldNames {
	return [...]FieldNames{
		{term.FindingSite, m.FindingSite}, {term.TopographicalModifier, m.TopographicalModifier}, {term.Laterality, m.Laterality},
		{term.ImageMode, m.ImageMode}, {term.ImageView, m.ImageView}, {term.FlowDirection, m.FlowDirection},
		{term.MeasurementMethod, m.MeasurementMethod}, {term.CardiacCyclePoint, m.CardiacCyclePoint},
		{term.RespiratoryCyclePoint, m.RespiratoryCyclePoint}, {term.Derivation, m.Derivation},
		{term.SelectionStatus, m.SelectionStatus}, {term.MeasurementDivisor, m.MeasurementDivisor},
		{term.MeasuredProperty, m.MeasuredProperty}, {term.MeasurementType, m.MeasurementType},
		{term.Stage, m.Stage},
	}
}

// given are those that are.
func (m *modifiersAsWritten) given() Modifiers {
	var out Modifiers
	for _, f := range m.all() {
		if len(f.Names) > 0 {
			out = append(out, f)
		}
	}
	return out
}

// FieldNames is a modifier and the terms it may have.
type FieldNames struct {
	Field term.Field
	Names Names
}

// MeasurandChoice is what an alias stands for.
type MeasurandChoice struct {
	Measurand Names     `yaml:"measurand"`
	Counts    string    `yaml:"counts"`
	Modifiers Modifiers `yaml:"-"`
}

// StatementChoice is what a statement alias stands for.
type StatementChoice struct {
	Statement Names `yaml:"statement"`
	ImageView Names `yaml:"imageView"`
}

// Names is a name or a list of names.
type Names []string

// GivenValues is a value or a list of values.
type GivenValues []Given

// The decoders below take the short forms: a word for a list of one, a value
// for a mapping.

// apart decodes a mapping that has modifiers among its keys.
func apart[T any](decode func(any) error) (T, Modifiers, error) {
	var w struct {
		Rest      T                  `yaml:",inline"`
		Modifiers modifiersAsWritten `yaml:",inline"`
	}
	err := decode(&w)
	return w.Rest, w.Modifiers.given(), err
}

// UnmarshalYAML takes a label, a label with its locator, or all parts by name.
func (a *Artifact) UnmarshalYAML(decode func(any) error) error {
	var located map[string]string
	switch err := decode(&located); {
	case err != nil: // no mapping
		return decode(&a.Label)
	case len(located) == 1 && located["label"] == "":
		for a.Label, a.Locator = range located {
			return nil
		}
	}
	type plain Artifact
	return decode((*plain)(a))
}

// UnmarshalYAML takes a quantity, or its parts by name.
func (p *ParameterAsWritten) UnmarshalYAML(decode func(any) error) error {
	type plain ParameterAsWritten
	err := decode(&p.Value)
	if shape(decode) == written.Mapping {
		err = decode((*plain)(p))
	}
	if p.Unit == "" {
		p.Value, p.Unit = written.Quantity(string(p.Value))
	}
	p.Unit = written.Unit(p.Unit)
	return err
}

// UnmarshalYAML takes title and expression in one, or both by name.
func (f *Form) UnmarshalYAML(decode func(any) error) error {
	var one map[string]string
	if err := decode(&one); err != nil {
		return err
	}
	f.Title, f.Value = one["title"], one["value"]
	if f.Value == "" && len(one) == 1 {
		for f.Title, f.Value = range one {
			return nil
		}
	}
	type plain Form
	return decode((*plain)(f))
}

// UnmarshalYAML takes a word or a list.
func (n *Names) UnmarshalYAML(decode func(any) error) error {
	var word written.Text
	if decode(&word) == nil {
		*n = Names{string(word)}
		return nil
	}
	return decode((*[]string)(n))
}

// UnmarshalYAML takes an identifier, a list of them, or a mapping.
func (m *MeasurandChoice) UnmarshalYAML(decode func(any) error) error {
	if shape(decode) != written.Mapping {
		return decode(&m.Measurand)
	}
	type plain MeasurandChoice
	p, modifiers, err := apart[plain](decode)
	*m = MeasurandChoice(p)
	m.Modifiers = modifiers
	return err
}

// UnmarshalYAML takes an identifier, a list of them, or a mapping.
func (s *StatementChoice) UnmarshalYAML(decode func(any) error) error {
	if shape(decode) != written.Mapping {
		return decode(&s.Statement)
	}
	type plain StatementChoice
	return decode((*plain)(s))
}

// UnmarshalYAML takes a value or a mapping.
func (g *Given) UnmarshalYAML(decode func(any) error) error {
	if shape(decode) != written.Mapping {
		return decode(&g.Value)
	}
	type plain Given
	p, modifiers, err := apart[plain](decode)
	*g = Given(p)
	g.Modifiers = modifiers
	return err
}

// UnmarshalYAML takes one value or a list.
func (g *GivenValues) UnmarshalYAML(decode func(any) error) error {
	if shape(decode) == written.Sequence {
		return decode((*[]Given)(g))
	}
	var one Given
	err := decode(&one)
	*g = GivenValues{one}
	return err
}

func shape(decode func(any) error) written.Shape {
	var s written.Shape
	_ = decode(&s) // any value has one
	return s
}

// String returns the label and locator as a short citation.
func (a Artifact) String() string {
	switch {
	case a.Citation == "":
		return a.Label
	case a.Locator == "":
		return a.Citation
	}
	return fmt.Sprintf("%s, %s", a.Citation, a.Locator)
}
