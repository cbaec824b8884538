package world

import (
	"fmt"
	"math"
	"time"

	"echotally/internal/world/chance"
)

// patient is one invented adult.
type patient struct {
	Sex            byte // 'M' or 'F'
	Age            int
	Height, Weight float64 // cm, kg
	Birth, Study   time.Time
	Family, Given  string
	ID             string
	HR, SBP, DBP   float64
	AF             bool
}

// Invented syllables; no list of real names is used.
var (
	famA = []string{"Vor", "Zel", "Quin", "Tro", "Ilm", "Bas", "Gär", "Öst", "Élo", "Mur", "Kes", "Yad", "Fen", "Wus", "Nar"}
	famB = []string{"dimb", "arro", "ellit", "ünde", "ovack", "istrel", "umble", "égny", "anther", "oquil", "erwal", "issam"}
	givF = []string{"Ilsora", "Mevka", "Teolin", "Zarille", "Ondeva", "Brisalle", "Quenna", "Élindre"}
	givM = []string{"Tarvo", "Jeldin", "Ostric", "Belmaro", "Yvarn", "Korvel", "Dastin", "Hündrik"}
)

func bsaDuBois(h, w float64) float64 { return 0.007184 * math.Pow(w, 0.425) * math.Pow(h, 0.725) }
func bsaMosteller(h, w float64) float64 {
	return math.Sqrt(h * w / 3600)
}

// newPatient draws the person of a condition. Body sizes: adult populations,
// common practice; heart rates and pressures from the condition table.
func newPatient(r *chance.Stream, c *cond) patient {
	p := patient{Sex: 'M'}
	if c.sex == "F" || (c.sex == "" && r.Chance(.5)) {
		p.Sex = 'F'
	}
	p.Age = c.age[0] + r.IntN(c.age[1]-c.age[0]+1)
	p.Height = r.In(166, 190)
	if p.Sex == 'F' {
		p.Height = r.In(153, 175)
	}
	if p.Age > 70 { // adults shrink 5-8 cm to 80 (Sorkin 1999, from memory)
		p.Height -= r.In(2, 5)
	}
	bmi := r.In(20.5, 29.5)
	if c.small {
		p.Height, bmi = r.In(146, 155), r.In(18.5, 22.5)
	}
	p.Height = math.Round(p.Height)
	p.Weight = math.Round(bmi * p.Height * p.Height / 10000)
	p.Study = time.Date(2025, time.Month(1+r.IntN(12)), 1+r.IntN(28), 7+r.IntN(10), r.IntN(60), r.IntN(60), 0, time.UTC)
	p.Birth = p.Study.AddDate(-p.Age, 0, -1-r.IntN(363))
	p.Family = chance.Pick(r, famA) + chance.Pick(r, famB)
	p.Given = chance.Pick(r, givM)
	if p.Sex == 'F' {
		p.Given = chance.Pick(r, givF)
	}
	p.ID = fmt.Sprintf("W%07d", r.IntN(10000000))
	p.HR = math.Round(r.In(c.hr[0], c.hr[1]))
	p.SBP = math.Round(r.In(c.sbp[0], c.sbp[1]))
	p.DBP = math.Round(p.SBP * r.In(.56, .64))
	if c.wideP {
		p.DBP = math.Round(p.SBP * r.In(.36, .45))
	}
	p.AF = c.af
	return p
}

// cond is the table row of a condition. Volumes per beat in mL, sizes in cm,
// pressures in mmHg; zero means "as in health".
type cond struct {
	name             string
	sex              string
	age              [2]int
	small, wideP, af bool
	hr, sbp          [2]float64
	svi              [2]float64 // forward (systemic) stroke volume index
	ef               [2]float64
	wall             [2]float64 // posterior wall of a man
	septum           float64    // extra septal thickness
	lavi             [2]float64
	fill             int // 0 by age, 1 impaired, 2 pseudonormal, 3 restrictive
	rvsp             [2]float64
	rap              int
	ava, mva         [2]float64
	avV              [2]float64 // aortic Vmax asked for; ava then only bounds
	arE, mrE, trE    [2]float64 // effective regurgitant orifices, cm2
	prVol            [2]float64
	asd, vsd         [2]float64 // shunt as a share of the forward stroke volume
	psV              [2]float64 // pulmonary valve Vmax
	tapse, fac, rvd1 [2]float64
	eff              [2]float64 // effusion
	respVar          bool
	lvoto            bool
	eov              [2]float64 // ePs override
	glsF             float64    // GLS factor
	prosAV, prosMV   bool
	wm               int // wall motion pattern: 0 normal, 1 global, 2 inferior
	pregnant         bool
}

func pr(a, b float64) [2]float64 { return [2]float64{a, b} }

// conditions: typical ranges of each disease. Cut-offs between grades follow
// limits.csv (Lang 2015, Baumgartner 2017, Zoghbi 2017, Hahn 2023, ESC/ERS
// 2022, Rudski 2010, Klein 2013); where a patient sits inside a grade is
// common practice / from memory.
var conditions = []cond{
	{name: "normal-young", age: [2]int{19, 39}},
	{name: "normal-middle", age: [2]int{40, 62}},
	{name: "normal-old", age: [2]int{66, 88}},
	{name: "small-old-woman", sex: "F", age: [2]int{74, 91}, small: true},
	{name: "athlete", age: [2]int{20, 36}, hr: pr(46, 56), svi: pr(50, 58), ef: pr(56, 62), wall: pr(1.0, 1.1), lavi: pr(33, 38), rvd1: pr(4.1, 4.5)},
	{name: "pregnancy", sex: "F", age: [2]int{22, 38}, hr: pr(80, 94), svi: pr(42, 48), pregnant: true},
	{name: "hypertension-lvh", age: [2]int{52, 80}, sbp: pr(150, 178), wall: pr(1.25, 1.45), septum: .08, lavi: pr(36, 42), fill: 1},
	{name: "dilated-cardiomyopathy", age: [2]int{35, 75}, hr: pr(72, 92), sbp: pr(100, 118), svi: pr(27, 33), ef: pr(25, 32), wall: pr(.85, 1.0), lavi: pr(44, 55), fill: 3, rvsp: pr(42, 52), rap: 8, mrE: pr(.10, .16), tapse: pr(1.5, 1.8), fac: pr(32, 38), wm: 1},
	{name: "lv-outflow-obstruction", age: [2]int{30, 70}, svi: pr(36, 42), ef: pr(66, 72), wall: pr(1.15, 1.3), septum: .65, lavi: pr(40, 48), fill: 2, lvoto: true, mrE: pr(.09, .13), glsF: .78},
	{name: "restrictive-infiltrative", age: [2]int{62, 84}, hr: pr(74, 88), sbp: pr(100, 118), svi: pr(26, 31), ef: pr(50, 56), wall: pr(1.5, 1.75), septum: .05, lavi: pr(42, 52), fill: 3, rvsp: pr(42, 50), rap: 15, tapse: pr(1.3, 1.6), fac: pr(31, 36), glsF: .68},
	{name: "as-severe-high-gradient", age: [2]int{64, 88}, svi: pr(38, 44), ava: pr(.6, .95), avV: pr(4.25, 4.9), wall: pr(1.2, 1.4), lavi: pr(38, 46), fill: 2},
	{name: "as-low-flow-low-ef", age: [2]int{66, 86}, hr: pr(72, 86), sbp: pr(105, 122), svi: pr(25, 30), ef: pr(28, 36), ava: pr(.68, .80), wall: pr(1.05, 1.2), lavi: pr(42, 50), fill: 3, rvsp: pr(42, 50), rap: 8, wm: 1},
	{name: "as-low-flow-preserved-ef", age: [2]int{70, 90}, hr: pr(66, 78), svi: pr(27, 32), ef: pr(58, 64), ava: pr(.70, .82), wall: pr(1.25, 1.4), lavi: pr(38, 44), fill: 2},
	{name: "ar-moderate", age: [2]int{30, 75}, hr: pr(58, 70), sbp: pr(128, 148), ef: pr(56, 62), arE: pr(.19, .24), lavi: pr(28, 34)},
	{name: "ar-severe", age: [2]int{30, 70}, hr: pr(62, 72), sbp: pr(138, 158), wideP: true, svi: pr(34, 38), ef: pr(54, 60), arE: pr(.46, .53), lavi: pr(34, 40)},
	{name: "mr-primary-severe", age: [2]int{40, 78}, hr: pr(64, 76), svi: pr(33, 37), ef: pr(62, 68), mrE: pr(.48, .58), lavi: pr(50, 62), fill: 2, rvsp: pr(40, 48)},
	{name: "mr-secondary", age: [2]int{55, 80}, hr: pr(70, 84), sbp: pr(104, 122), svi: pr(27, 31), ef: pr(32, 40), mrE: pr(.24, .30), lavi: pr(46, 56), fill: 3, rvsp: pr(44, 52), rap: 8, wm: 2},
	{name: "mitral-stenosis", age: [2]int{35, 68}, hr: pr(66, 78), svi: pr(33, 38), mva: pr(1.05, 1.35), lavi: pr(50, 65), rvsp: pr(42, 52), rap: 8},
	{name: "tr-mild", age: [2]int{50, 85}, trE: pr(.08, .13), rvsp: pr(28, 34)},
	{name: "tr-severe", age: [2]int{60, 85}, hr: pr(64, 74), svi: pr(34, 38), trE: pr(.56, .59), rvsp: pr(56, 64), rap: 15, tapse: pr(1.6, 1.9), fac: pr(34, 38), rvd1: pr(4.9, 5.5)},
	{name: "pulmonary-hypertension", age: [2]int{35, 75}, hr: pr(76, 90), svi: pr(28, 33), rvsp: pr(72, 92), rap: 15, trE: pr(.14, .20), tapse: pr(1.3, 1.6), fac: pr(24, 30), rvd1: pr(4.8, 5.4)},
	{name: "rv-infarction", age: [2]int{48, 80}, hr: pr(60, 76), sbp: pr(98, 112), svi: pr(27, 32), ef: pr(48, 53), rvsp: pr(30, 36), rap: 15, tapse: pr(1.0, 1.25), fac: pr(20, 26), rvd1: pr(4.6, 5.1), wm: 2},
	{name: "asd", age: [2]int{22, 60}, svi: pr(34, 38), asd: pr(.75, 1.1), rvsp: pr(36, 44), rvd1: pr(4.7, 5.3), tapse: pr(2.4, 2.8)},
	{name: "vsd", age: [2]int{20, 50}, svi: pr(35, 39), vsd: pr(.55, .75), rvsp: pr(32, 40), lavi: pr(37, 43)},
	{name: "prosthesis-aortic", age: [2]int{58, 84}, svi: pr(36, 41), ava: pr(1.55, 1.85), prosAV: true, wall: pr(1.05, 1.2), lavi: pr(34, 40)},
	{name: "prosthesis-mitral", age: [2]int{50, 80}, hr: pr(64, 74), svi: pr(35, 39), mva: pr(2.25, 2.7), prosMV: true, lavi: pr(42, 52), rvsp: pr(34, 40)},
	{name: "pericardial-effusion", age: [2]int{25, 80}, hr: pr(70, 84), eff: pr(1.1, 1.9)},
	{name: "constriction", age: [2]int{35, 72}, hr: pr(72, 86), svi: pr(29, 33), rap: 15, respVar: true, eov: pr(10.5, 12.5), fill: 3, lavi: pr(35, 42), rvsp: pr(34, 40), eff: pr(.3, .5)},
	{name: "atrial-fibrillation", age: [2]int{60, 85}, af: true, hr: pr(70, 92), svi: pr(32, 37), ef: pr(55, 61), lavi: pr(42, 54), rvsp: pr(34, 42), rap: 8},
	{name: "pulmonary-regurgitation", age: [2]int{20, 45}, svi: pr(34, 38), prVol: pr(48, 60), rvsp: pr(30, 36), rvd1: pr(4.8, 5.3), tapse: pr(1.7, 2.0)},
	{name: "pulmonary-stenosis", age: [2]int{20, 50}, svi: pr(36, 42), psV: pr(3.3, 4.2), rvsp: pr(26, 30)},
}

// Conditions lists the names of all invented conditions.
func Conditions() []string {
	var out []string
	for i := range conditions {
		out = append(out, conditions[i].name)
	}
	return out
}

// filled returns the row with the healthy ranges in place of zeros.
func (c cond) filled() cond {
	def := func(p *[2]float64, a, b float64) {
		if p[1] == 0 {
			*p = pr(a, b)
		}
	}
	def(&c.hr, 56, 78)
	def(&c.sbp, 112, 138)
	def(&c.svi, 36, 43)   // normal flow > 35 (Baumgartner 2017)
	def(&c.ef, 57, 66)    // Lang 2015
	def(&c.wall, .8, .96) // Lang 2015
	def(&c.lavi, 22, 31)  // Lang 2015
	def(&c.rvsp, 22, 29)  // Rudski 2010
	def(&c.tapse, 2.0, 2.5)
	def(&c.fac, 41, 49)
	def(&c.rvd1, 3.2, 3.9)
	if c.rap == 0 {
		c.rap = 3
	}
	if c.glsF == 0 {
		c.glsF = 1
	}
	return c
}
