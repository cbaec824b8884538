package demo

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

const (
	comprehensive extent = iota
	limited
	pediatric
)

// profile is a kind of patient and study. Spans are drawn from evenly.
type profile struct {
	name, title string
	age         span
	rhythm      rhythm
	extent      extent

	ejection       span    // left ventricular ejection fraction, 1
	strokeIndex    span    // forward stroke volume index, mL/m2
	pressure       span    // systolic pulmonary artery pressure, mmHg
	atrialPressure float64 // right atrial pressure class: 3, 8 or 15 mmHg
	wall           float64 // factor on normal wall thickness

	tricuspidRegurgitation grade
	tricuspidStenosis      bool
	aorticStenosis         grade
	mitralRegurgitation    grade

	noJet       bool // the tricuspid jet cannot be measured, and the report says so
	poorWindows bool // apical right heart windows poor, and the report says so
}

// span is a closed range of values.
type span struct{ low, high float64 }

// The numbers are demonstration patients, not limits: nothing is judged by
// them. They lie inside the plain ranges of textbooks for the condition named.
var profiles = []profile{
	healthy("healthy-young", "Healthy adult, third decade", span{21, 29}),
	healthy("healthy-middle", "Healthy adult, fifth decade", span{41, 50}),
	healthy("healthy-older", "Healthy adult, eighth decade", span{70, 78}),
	{
		name: "tricuspid-regurgitation-moderate", title: "Moderate tricuspid regurgitation", age: span{58, 76},
		ejection: span{0.56, 0.63}, strokeIndex: span{35, 41}, pressure: span{36, 42}, atrialPressure: 8, wall: 1,
		tricuspidRegurgitation: moderate,
	},
	{
		name: "tricuspid-regurgitation-severe", title: "Severe tricuspid regurgitation", age: span{62, 80},
		ejection: span{0.55, 0.6}, strokeIndex: span{33, 37}, pressure: span{46, 52}, atrialPressure: 15, wall: 1,
		tricuspidRegurgitation: severe,
	},
	{
		name: "tricuspid-stenosis", title: "Tricuspid stenosis", age: span{38, 60},
		ejection: span{0.57, 0.63}, strokeIndex: span{34, 38}, pressure: span{26, 32}, atrialPressure: 15, wall: 1,
		tricuspidRegurgitation: mild, tricuspidStenosis: true,
	},
	{
		name: "pulmonary-hypertension", title: "Pulmonary hypertension", age: span{45, 70},
		ejection: span{0.58, 0.65}, strokeIndex: span{32, 36}, pressure: span{66, 82}, atrialPressure: 8, wall: 1,
		tricuspidRegurgitation: mild,
	},
	{
		name: "atrial-fibrillation", title: "Atrial fibrillation", age: span{66, 82}, rhythm: atrialFibrillation,
		ejection: span{0.53, 0.58}, strokeIndex: span{33, 37}, pressure: span{34, 40}, atrialPressure: 8, wall: 1.05,
		tricuspidRegurgitation: mild, mitralRegurgitation: mild,
	},
	{
		name: "aortic-stenosis", title: "Severe aortic stenosis", age: span{70, 84},
		ejection: span{0.58, 0.65}, strokeIndex: span{37, 42}, pressure: span{28, 33}, atrialPressure: 3, wall: 1.4,
		tricuspidRegurgitation: mild, aorticStenosis: severe,
	},
	{
		name: "mitral-regurgitation", title: "Moderate mitral regurgitation", age: span{55, 72},
		ejection: span{0.6, 0.65}, strokeIndex: span{35, 39}, pressure: span{30, 35}, atrialPressure: 3, wall: 1,
		tricuspidRegurgitation: mild, mitralRegurgitation: moderate,
	},
	{
		name: "no-tricuspid-jet", title: "Healthy adult without a measurable tricuspid jet", age: span{30, 60},
		ejection: span{0.58, 0.66}, strokeIndex: span{36, 42}, pressure: span{20, 25}, atrialPressure: 3, wall: 1,
		noJet: true,
	},
	{
		name: "poor-windows", title: "Poor apical windows, reasons recorded", age: span{50, 75},
		ejection: span{0.57, 0.63}, strokeIndex: span{35, 40}, pressure: span{22, 27}, atrialPressure: 3, wall: 1.05,
		tricuspidRegurgitation: trivial, poorWindows: true,
	},
	{
		name: "limited", title: "Limited study: pericardial effusion follow-up", age: span{40, 75}, extent: limited,
		ejection: span{0.57, 0.63}, strokeIndex: span{35, 40}, pressure: span{22, 27}, atrialPressure: 3, wall: 1,
		tricuspidRegurgitation: trivial,
	},
	{
		name: "child", title: "Child, structurally normal heart", age: span{5, 12}, extent: pediatric,
		ejection: span{0.6, 0.67}, strokeIndex: span{40, 46}, pressure: span{19, 23}, atrialPressure: 3, wall: 1,
		tricuspidRegurgitation: trivial,
	},
}

func healthy(name, title string, age span) profile {
	return profile{
		name: name, title: title, age: age,
		ejection: span{0.58, 0.66}, strokeIndex: span{36, 43}, pressure: span{19, 26}, atrialPressure: 3, wall: 1,
		tricuspidRegurgitation: trivial,
	}
}

func profileNamed(name string) profile {
	for _, p := range profiles {
		if p.name == name {
			return p
		}
	}
	panic("internal error: no demo profile " + name)
}
