package check

import (
	"fmt"
	"math"
	"time"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// withoutPrior says why a rule that compares with an earlier study cannot be put
// to this one; "" when it can.
func (e *evaluation) withoutPrior() string {
	p := e.study.Prior
	compares := e.rule.File.Forbid == nil
	switch {
	case p == nil:
		return "no earlier study of this person is at hand"
	case !compares && p.Quoted:
		return "the earlier values are quoted by this report itself"
	case compares && p.BirthDate == echo.Differs:
		return "the earlier study under this patient ID has another birth date"
	case compares && p.BirthDate != echo.Agrees:
		return "not known whether the earlier study is of the same person: no birth date"
	}
	return ""
}

// past is the earlier study as it is read for values; without any when it is not
// known to be of the same person.
func (r *reading) past() *reading {
	if r.earlier == nil {
		p := r.study.Prior
		if p == nil || p.BirthDate != echo.Agrees {
			p = &echo.Prior{}
		}
		r.earlier = read(r.set, &echo.Study{StudyDate: p.StudyDate, Measurements: p.Measurements})
	}
	return r.earlier
}

// ofPrior answers what is asked of a measurand in the earlier study.
func (e *evaluation) ofPrior(b *binding, function string) float64 {
	before := e.past().bindAlias(b.alias)
	if function == "prior_present" {
		return truth(len(before.items) > 0)
	}
	return before.chosen.x
}

// priorDays is how many days lie between the two studies; NaN when a date is
// not recorded.
func (r *reading) priorDays() float64 {
	if r.study.Prior == nil {
		return math.NaN()
	}
	before, err1 := time.Parse(dateLayout, r.study.Prior.StudyDate)
	now, err2 := time.Parse(dateLayout, r.study.StudyDate)
	if err1 != nil || err2 != nil {
		return math.NaN()
	}
	return math.Round(now.Sub(before).Hours() / 24)
}

// dateLayout is the VR DA.
const dateLayout = "20060102"

// datedEvidence puts the values of the earlier study behind those of this one,
// and says of every value from which study it is.
func (e *evaluation) datedEvidence(list []finding.Evidence) []finding.Evidence {
	if e.study.Prior == nil {
		return list
	}
	compared := map[string]bool{}
	for _, p := range e.programs() {
		for _, in := range p.Inputs {
			compared[in.Name] = compared[in.Name] || in.AboutPrior()
		}
	}
	var out []finding.Evidence
	for i, one := range list {
		b := e.bindings[one.Alias]
		if b == nil || !compared[one.Alias] {
			out = append(out, one)
			continue
		}
		one.Note = fromStudy(one.Note, "this study", e.study.StudyDate)
		if out = append(out, one); i+1 < len(list) && list[i+1].Alias == one.Alias {
			continue
		}
		word := "earlier study"
		if e.study.Prior.Quoted {
			word += ", as this report quotes it"
		}
		for _, before := range e.past().bindAlias(b.alias).evidence() {
			before.Note = fromStudy(before.Note, word, e.study.Prior.StudyDate)
			out = append(out, before)
		}
	}
	return out
}

func fromStudy(note, study, date string) string {
	if t, err := time.Parse(dateLayout, date); err == nil {
		study += " of " + t.Format(time.DateOnly)
	}
	if note == "" {
		return study
	}
	return study + "; " + note
}

// forbidOther tells what of the person differs between the two studies. What is
// not recorded in one of them leaves the outcome open; without a birth date sex
// alone shows nothing, since files made anonymous may share an ID.
func (e *evaluation) forbidOther(res *finding.Result) (told []string) {
	p := e.study.Prior
	if p == nil {
		return nil
	}
	when := fromStudy("", "the earlier study", p.StudyDate)
	for _, one := range []struct {
		fault   string
		is      echo.Agreement
		missing finding.Missing
		words   string
	}{
		{rule.BirthDateDiffers, p.BirthDate, birthDateMissing, "the birth date is another than in " + when},
		{rule.SexDiffers, sexes(e.study.Subject.PatientSex, p.PatientSex), sexMissing, fmt.Sprintf("sex is %s, in %s it is %s", e.study.Subject.PatientSex, when, p.PatientSex)},
	} {
		if !e.forbids(one.fault) {
			continue
		}
		switch one.is {
		case echo.Agrees:
		case echo.Differs:
			if p.BirthDate != "" {
				told = append(told, one.words)
			}
		default:
			one.missing.Reason = "not recorded in both studies"
			res.Missing = append(res.Missing, one.missing)
		}
	}
	return told
}

var birthDateMissing = finding.Missing{Alias: "birth_date", Measurand: "patient-birth-date", Title: "Patient's birth date"}

func sexes(a, b string) echo.Agreement {
	switch {
	case a == "" || b == "":
		return ""
	case a == b:
		return echo.Agrees
	}
	return echo.Differs
}

// priorReason says why the earlier study gives no value.
func (e *evaluation) priorReason(b *binding) string {
	return e.past().bindAlias(b.alias).reason("") + " in the earlier study"
}

// shownPrior writes what is asked of the earlier study.
func (e *evaluation) shownPrior(in expr.Input) string {
	x := e.value(in)
	b, ok := e.bindings[in.Name]
	switch {
	case !ok:
		return plain(x) + " days since the earlier study"
	case in.Function == "prior_present":
		return b.alias.Title() + " present in the earlier study"
	}
	return "earlier " + b.alias.Title() + " " + withUnit(x, b.alias.Unit)
}
