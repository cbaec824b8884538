// Package identity owns who a study is of as its objects say, which need not agree,
// and what has to be taken out of what is kept of the study so that it does not say
// it. It seals nothing.
package identity

import (
	"slices"

	"echotally/internal/echo"
)

// Claims is who a study is of, as its objects say. More than one value means
// that they do not agree.
type Claims struct {
	PatientName, PatientID, AccessionNumber, BirthDate []string
	IssuerOfPatientID                                  []string `json:",omitempty"`

	OfImages *Claims `json:",omitempty"` // what the images say; only compared
}

// AddImage takes in what an image says.
func (i *Claims) AddImage(e echo.Identity) (changed bool) {
	if e == (echo.Identity{}) {
		return false
	}
	if i.OfImages == nil {
		i.OfImages = &Claims{}
	}
	return i.OfImages.Add(e)
}

// Add takes in what a report says; it tells whether anything was new.
func (i *Claims) Add(e echo.Identity) (changed bool) {
	for _, f := range []struct {
		to   *[]string
		from echo.Protected
	}{{&i.PatientName, e.PatientName}, {&i.PatientID, e.PatientID}, {&i.AccessionNumber, e.AccessionNumber}, {&i.BirthDate, e.BirthDate}, {&i.IssuerOfPatientID, e.IssuerOfPatientID}} {
		if text := f.from.Reveal(); text != "" && !slices.Contains(*f.to, text) {
			*f.to, changed = append(*f.to, text), true
		}
	}
	return changed
}

// First is who the study is of by what was said first.
func (i *Claims) First() echo.Identity {
	first := func(list []string) echo.Protected {
		if len(list) == 0 {
			return ""
		}
		return echo.Protected(list[0])
	}
	return echo.Identity{PatientName: first(i.PatientName), PatientID: first(i.PatientID), AccessionNumber: first(i.AccessionNumber), BirthDate: first(i.BirthDate), IssuerOfPatientID: first(i.IssuerOfPatientID)}
}

// Contradictions lists in what the objects name two persons.
func (i *Claims) Contradictions() []echo.Attribute {
	var out []echo.Attribute
	at := func(list []string, k int) echo.Protected {
		if len(list) == 0 {
			return ""
		}
		return echo.Protected(list[min(k, len(list)-1)])
	}
	first := i.First()
	compare := func(with *Claims, from int) {
		for k := from; k < max(len(with.PatientName), len(with.PatientID), len(with.AccessionNumber), len(with.BirthDate)); k++ {
			out = append(out, first.Contradicts(echo.Identity{PatientName: at(with.PatientName, k), PatientID: at(with.PatientID, k), AccessionNumber: at(with.AccessionNumber, k),
				BirthDate: at(with.BirthDate, k), IssuerOfPatientID: at(with.IssuerOfPatientID, k)})...)
		}
	}
	compare(i, 1)
	if i.OfImages != nil {
		compare(i.OfImages, 0)
	}
	return out
}

// Names are the texts that name the person; whose number the ID is does not.
func (i *Claims) Names() []string {
	own := slices.Concat(i.PatientName, i.PatientID, i.AccessionNumber, i.BirthDate)
	if i.OfImages != nil {
		own = append(own, i.OfImages.Names()...)
	}
	return own
}
