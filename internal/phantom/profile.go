package phantom

// rhythm is the heart rhythm during the study.
type rhythm int

const (
	sinusRhythm rhythm = iota
	atrialFibrillation
)

// grade is the severity of a valve lesion.
type grade int

const (
	none grade = iota
	trivial
	mild
	moderate
	severe
)

func (g grade) String() string {
	return [...]string{"no", "trivial", "mild", "moderate", "severe"}[g]
}

// extent says how much of a study is done.
type extent int

// Extents of a study.
const (
	Comprehensive extent = iota
	limited
	Pediatric
)

// Profile is a kind of patient and study. Spans are drawn from evenly.
type Profile struct {
	Name, title string
	Age         Span
	rhythm      rhythm
	Extent      extent

	ejection       Span    // left ventricular ejection fraction, 1
	strokeIndex    Span    // forward stroke volume index, mL/m2
	pressure       Span    // systolic pulmonary artery pressure, mmHg
	atrialPressure float64 // right atrial pressure class: 3, 8 or 15 mmHg
	wall           float64 // factor on normal wall thickness

	tricuspidRegurgitation grade
	tricuspidStenosis      bool
	aorticStenosis         grade
	mitralRegurgitation    grade

	noJet       bool // the tricuspid jet cannot be measured, and the report says so
	poorWindows bool // apical right heart windows poor, and the report says so
}

// Span is a closed range of values.
type Span struct{ Low, High float64 }

// The numbers are demonstration patients, not limits: nothing is judged by
// them. They lie inside the plain ranges of textbooks for the condition named.
var Profiles = []Profile{
	healthy("healthy-young", "Healthy adult, third decade", Span{21, 29}),
	healthy("healthy-middle", "Healthy adult, fifth decade", Span{41, 50}),
	healthy("healthy-older", "Healthy adult, eighth decade", Span{70, 78}),
	{
		Name: "tricuspid-regurgitation-moderate", title: "Moderate tricuspid regurgitation", Age: Span{58, 76},
		ejection: Span{0.56, 0.63}, strokeIndex: Span{35, 41}, pressure: Span{36, 42}, atrialPressure: 8, wall: 1,
		tricuspidRegurgitation: moderate,
	},
	{
		Name: "tricuspid-regurgitation-severe", title: "Severe tricuspid regurgitation", Age: Span{62, 80},
		ejection: Span{0.55, 0.6}, strokeIndex: Span{33, 37}, pressure: Span{46, 52}, atrialPressure: 15, wall: 1,
		tricuspidRegurgitation: severe,
	},
	{
		Name: "tricuspid-stenosis", title: "Tricuspid stenosis", Age: Span{38, 60},
		ejection: Span{0.57, 0.63}, strokeIndex: Span{34, 38}, pressure: Span{26, 32}, atrialPressure: 15, wall: 1,
		tricuspidRegurgitation: mild, tricuspidStenosis: true,
	},
	{
		Name: "pulmonary-hypertension", title: "Pulmonary hypertension", Age: Span{45, 70},
		ejection: Span{0.58, 0.65}, strokeIndex: Span{32, 36}, pressure: Span{66, 82}, atrialPressure: 8, wall: 1,
		tricuspidRegurgitation: mild,
	},
	{
		Name: "atrial-fibrillation", title: "Atrial fibrillation", Age: Span{66, 82}, rhythm: atrialFibrillation,
		ejection: Span{0.53, 0.58}, strokeIndex: Span{33, 37}, pressure: Span{34, 40}, atrialPressure: 8, wall: 1.05,
		tricuspidRegurgitation: mild, mitralRegurgitation: mild,
	},
	{
		Name: "aortic-stenosis", title: "Severe aortic stenosis", Age: Span{70, 84},
		ejection: Span{0.58, 0.65}, strokeIndex: Span{37, 42}, pressure: Span{28, 33}, atrialPressure: 3, wall: 1.4,
		tricuspidRegurgitation: mild, aorticStenosis: severe,
	},
	{
		Name: "mitral-regurgitation", title: "Moderate mitral regurgitation", Age: Span{55, 72},
		ejection: Span{0.6, 0.65}, strokeIndex: Span{35, 39}, pressure: Span{30, 35}, atrialPressure: 3, wall: 1,
		tricuspidRegurgitation: mild, mitralRegurgitation: moderate,
	},
	{
		Name: "no-tricuspid-jet", title: "Healthy adult without a measurable tricuspid jet", Age: Span{30, 60},
		ejection: Span{0.58, 0.66}, strokeIndex: Span{36, 42}, pressure: Span{20, 25}, atrialPressure: 3, wall: 1,
		noJet: true,
	},
	{
		Name: "poor-windows", title: "Poor apical windows, reasons recorded", Age: Span{50, 75},
		ejection: Span{0.57, 0.63}, strokeIndex: Span{35, 40}, pressure: Span{22, 27}, atrialPressure: 3, wall: 1.05,
		tricuspidRegurgitation: trivial, poorWindows: true,
	},
	{
		Name: "limited", title: "Limited study: pericardial effusion follow-up", Age: Span{40, 75}, Extent: limited,
		ejection: Span{0.57, 0.63}, strokeIndex: Span{35, 40}, pressure: Span{22, 27}, atrialPressure: 3, wall: 1,
		tricuspidRegurgitation: trivial,
	},
	{
		Name: "child", title: "Child, structurally normal heart", Age: Span{5, 12}, Extent: Pediatric,
		ejection: Span{0.6, 0.67}, strokeIndex: Span{40, 46}, pressure: Span{19, 23}, atrialPressure: 3, wall: 1,
		tricuspidRegurgitation: trivial,
	},
}

func healthy(name, title string, age Span) Profile {
	return Profile{
		Name: name, title: title, Age: age,
		ejection: Span{0.58, 0.66}, strokeIndex: Span{36, 43}, pressure: Span{19, 26}, atrialPressure: 3, wall: 1,
		tricuspidRegurgitation: trivial,
	}
}

// ProfileNamed is the profile of a name, which must be known.
func ProfileNamed(name string) Profile {
	for _, p := range Profiles {
		if p.Name == name {
			return p
		}
	}
	panic("internal error: no demo profile " + name)
}
