package world

import (
	"fmt"
	"strconv"
	"time"

	"echotally/internal/world/chance"
)

// everywhere changes the identity in header and content of all objects.
func (rp *report) everywhere(f func(*identity)) {
	for i := range rp.head {
		f(&rp.head[i])
		f(&rp.body[i])
	}
}

func dateShift(s string, y, m, d int) string {
	t, err := time.Parse("20060102", s)
	if err != nil {
		return s
	}
	return t.AddDate(y, m, d).Format("20060102")
}

func otherSex(s string) string {
	if s == "M" {
		return "F"
	}
	return "M"
}

// personKinds: demographics, identity, dates.
var personKinds = []slipKind{
	{name: "height-weight-exchanged", cause: "two-values-exchanged", text: "height and weight exchanged", apply: func(rp *report, r *chance.Stream) []string {
		rp.everywhere(func(id *identity) { id.height, id.weight = id.weight, id.height })
		return []string{"height", "weight"}
	}},
	{name: "weight-in-pounds", cause: "unit-factor", text: "weight in pounds under kg", apply: func(rp *report, r *chance.Stream) []string {
		rp.everywhere(func(id *identity) { id.weight = roundStr(float64(parseInt(id.weight)) * 2.2046) })
		return []string{"weight"}
	}},
	{name: "height-in-inches", cause: "unit-factor", text: "height in inches under cm", apply: func(rp *report, r *chance.Stream) []string {
		rp.everywhere(func(id *identity) { id.height = roundStr(float64(parseInt(id.height)) / 2.54) })
		return []string{"height"}
	}},
	{name: "surface-of-old-weight", cause: "old-result", text: "body surface not computed anew after the weight was corrected", apply: func(rp *report, r *chance.Stream) []string {
		w := rp.h.p.Weight * r.In(.72, .8)
		rp.bsa = bsaDuBois(rp.h.p.Height, w)
		if rp.d.mosteller {
			rp.bsa = bsaMosteller(rp.h.p.Height, w)
		}
		rp.bsaText = strconv.FormatFloat(rp.bsa, 'f', 2, 64)
		rp.again()
		return []string{"bsa"}
	}},
	{name: "misread-BSA", text: "a plain wrong body surface", apply: func(rp *report, r *chance.Stream) []string {
		rp.bsaText = strconv.FormatFloat(rp.bsa*r.In(1.14, 1.2), 'f', 2, 64)
		return []string{"bsa"}
	}},
	{name: "sex-differs", cause: "wrong-patient", text: "sex differs between header and content", apply: func(rp *report, r *chance.Stream) []string {
		rp.body[len(rp.body)-1].sex = otherSex(rp.body[len(rp.body)-1].sex)
		return []string{"sex"}
	}},
	{name: "birth-differs-between-objects", cause: "wrong-patient", text: "birth date differs between the two objects", dials: []string{"vethra", "ungert", "kardun", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		i := len(rp.head) - 1
		rp.head[i].birth = dateShift(rp.head[i].birth, -1-r.IntN(2), 2, 3)
		rp.body[i].birth = rp.head[i].birth
		return []string{"birth"}
	}},
	{name: "birth-differs-in-content", cause: "wrong-patient", text: "birth date of the content differs from the header", dials: []string{"kardun", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		rp.body[0].birth = dateShift(rp.body[0].birth, 12, 1, 4)
		return []string{"birth"}
	}},
	{name: "height-differs-between-objects", cause: "wrong-patient", text: "height differs between the two objects", dials: []string{"vethra", "kardun", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		i := len(rp.head) - 1
		h := roundStr(float64(parseInt(rp.head[i].height)) - 14)
		rp.head[i].height, rp.body[i].height = h, h
		return []string{"height"}
	}},
	{name: "height-differs-in-content", cause: "wrong-patient", text: "height of the content differs from the header", dials: []string{"tarnvik", "olmery", "quessal", "brundo", "ispole", "lomvist", "wexular"}, apply: func(rp *report, r *chance.Stream) []string {
		rp.body[0].height = roundStr(float64(parseInt(rp.body[0].height)) - 15)
		return []string{"height"}
	}},
	{name: "name-differs-between-objects", cause: "wrong-patient", text: "the second object carries another patient", dials: []string{"vethra", "ungert", "kardun", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		i := len(rp.head) - 1
		rp.head[i].name = chance.Pick(r, famA) + chance.Pick(r, famB) + "^" + chance.Pick(r, givM)
		rp.head[i].id = fmt.Sprintf("W%07d", r.IntN(10000000))
		return []string{"name"}
	}},
	{name: "age-not-of-birth-date", cause: "wrong-input", text: "age does not fit the birth date", apply: func(rp *report, r *chance.Stream) []string {
		d := 9
		if r.Chance(.5) && parseInt(rp.body[0].age) > 40 {
			d = -10
		}
		for i := range rp.body {
			a := strconv.Itoa(parseInt(rp.body[i].age) + d)
			rp.body[i].age, rp.head[i].age = a, a
		}
		return []string{"age"}
	}},
	{name: "content-date-of-other-day", cause: "wrong-date", text: "content dated a year before the study", apply: func(rp *report, r *chance.Stream) []string {
		rp.date = dateShift(rp.date, -1, 0, 0)
		return []string{"date"}
	}},
	{name: "pressures-exchanged", cause: "two-values-exchanged", text: "systolic and diastolic blood pressure exchanged", apply: func(rp *report, r *chance.Stream) []string {
		rp.sbp, rp.dbp = rp.dbp, rp.sbp
		return []string{"sbp", "dbp"}
	}},
}

// setGrade writes a grade into code and words where the report has them.
func (rp *report) setGrade(kind string, g int) bool {
	done := false
	for i := range rp.finds {
		if rp.finds[i].kind == kind && rp.d.findStyle != "text" && rp.d.findStyle != "none" {
			rp.finds[i].grade = g
			done = true
		}
	}
	for i := range rp.lines {
		if rp.lines[i].id == "line-"+kind {
			rp.lines[i].text = valveLine(rp.lang, kind, g)
			rp.said[kind] = g
			done = true
		}
	}
	return done
}

func gradeSlip(from, to int) func(*report, *chance.Stream) []string {
	return func(rp *report, r *chance.Stream) []string {
		for _, k := range []string{"AS", "AR", "MR", "TR", "MS", "PS"} {
			if rp.h.grade[k] == from && rp.setGrade(k, to) {
				return []string{k}
			}
		}
		return nil
	}
}

var leakConds = []string{"as-severe-high-gradient", "ar-severe", "mr-primary-severe", "tr-severe", "mitral-stenosis"}

var textDials = []string{"tarnvik", "olmery", "quessal", "brundo", "vethra", "kardun", "lomvist", "wexular", "pindrel", "ungert", "xanthe"}

// wordKinds: words and codes against numbers, copies.
var wordKinds = []slipKind{
	{name: "grade-mild-for-severe", cause: "grade-text", text: "graded mild where the numbers say severe", conds: leakConds, dials: textDials, apply: gradeSlip(3, 1)},
	{name: "grade-severe-for-mild", cause: "grade-text", text: "graded severe where the numbers say mild", conds: []string{"tr-mild", "dilated-cardiomyopathy", "lv-outflow-obstruction", "pulmonary-hypertension"}, dials: textDials, apply: gradeSlip(1, 3)},
	{name: "grade-none-for-severe", cause: "grade-text", text: "lesion denied in words where the numbers say severe", conds: []string{"as-severe-high-gradient", "mr-primary-severe", "ar-severe"}, dials: textDials, apply: func(rp *report, r *chance.Stream) []string {
		for _, k := range []string{"AS", "AR", "MR"} {
			if rp.h.grade[k] == 3 {
				for i := range rp.lines {
					if rp.lines[i].id == "line-"+k {
						rp.lines[i].text = valveLine(rp.lang, k, 0)
						rp.said[k] = 0
						return []string{k}
					}
				}
			}
		}
		return nil
	}},
	{name: "grade-code-against-words", cause: "grade-text", text: "coded grade and worded grade differ by two tiers", conds: leakConds, dials: []string{"tarnvik", "olmery", "vethra", "kardun", "wexular", "pindrel", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		for i := range rp.finds {
			if rp.finds[i].grade == 3 {
				rp.finds[i].grade = 1
				return []string{rp.finds[i].kind}
			}
		}
		return nil
	}},
	{name: "normal-function-low-ef", cause: "grade-text", text: "normal function in words beside a low ejection fraction", conds: []string{"dilated-cardiomyopathy", "as-low-flow-low-ef", "mr-secondary"}, dials: textDials, apply: func(rp *report, r *chance.Stream) []string {
		for i := range rp.lines {
			if rp.lines[i].id == "line-EF" {
				rp.lines[i].text = fmt.Sprintf("%s, EF %.0f %%.", efWords[0].in(rp.lang), rp.saidEF)
				rp.said["EF"] = 0
				return []string{"EF"}
			}
		}
		return nil
	}},
	{name: "reduced-function-normal-ef", cause: "grade-text", text: "severely reduced function in words beside a normal ejection fraction", conds: []string{"normal-middle", "normal-old", "hypertension-lvh", "tr-mild"}, dials: textDials, apply: func(rp *report, r *chance.Stream) []string {
		for i := range rp.lines {
			if rp.lines[i].id == "line-EF" {
				rp.lines[i].text = fmt.Sprintf("%s, EF %.0f %%.", efWords[3].in(rp.lang), rp.saidEF)
				rp.said["EF"] = 3
				return []string{"EF"}
			}
		}
		return nil
	}},
	{name: "text-number-differs", cause: "copy-error", text: "the ejection fraction of the conclusions is not the measured one", dials: textDials, apply: func(rp *report, r *chance.Stream) []string {
		for i := range rp.lines {
			if rp.lines[i].id == "line-EF" {
				n := rp.saidEF + 14
				if r.Chance(.5) {
					n = rp.saidEF - 14
				}
				rp.lines[i].text = fmt.Sprintf("%s, EF %.0f %%.", efWords[rp.said["EF"]].in(rp.lang), n)
				rp.saidEF = n
				return []string{"EF"}
			}
		}
		return nil
	}},
	{name: "copy-differs", cause: "copy-error", text: "a number retyped wrongly in the second object", dials: []string{"kardun", "xanthe"}, apply: func(rp *report, r *chance.Stream) []string {
		var cs []*item
		for _, it := range rp.items {
			if it.role == "copy" {
				cs = append(cs, it)
			}
		}
		if len(cs) == 0 {
			return nil
		}
		it := chance.Pick(r, cs)
		it.write(it.v * factor(r))
		return []string{it.key}
	}},
}

// slipKinds are all kinds in order.
var slipKinds = func() []slipKind {
	var out []slipKind
	for _, l := range [][]slipKind{unitKinds, swapKinds, beatKinds, formKinds, plainKinds, personKinds, wordKinds} {
		out = append(out, l...)
	}
	return out
}()

// SlipKinds lists the names of all kinds of slips, with the cause class or "".
func SlipKinds() [][2]string {
	var out [][2]string
	for _, k := range slipKinds {
		out = append(out, [2]string{k.name, k.cause})
	}
	return out
}
