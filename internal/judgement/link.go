package judgement

import (
	"echotally/internal/echo"
	"echotally/internal/finding"
)

// Refer writes down, as references, what the pointers of the judgement point at
// in its study.
func (j *Judgement) Refer(s *echo.Study) {
	at := finding.NewPlaces(s)
	for i := range j.Results {
		for k := range j.Results[i].Evidence {
			refer(&j.Results[i].Evidence[k], at)
		}
	}
	for i := range j.Several {
		one := &j.Several[i]
		one.Counts, one.References = at.Of(one.Chosen), make([]finding.Reference, len(one.Values))
		for k, m := range one.Values {
			one.References[k] = at.Of(m)
		}
	}
	if a := j.Acquisition; a != nil {
		for i := range a.Spectra {
			a.Spectra[i].Reference = at.Of(a.Spectra[i].Measurement)
		}
	}
	j.eachAdjusted(func(m **echo.Measurement, r *finding.Reference) { *r = at.Of(*m) })
}

func refer(e *finding.Evidence, at *finding.Places) {
	switch {
	case e.Measurement != nil:
		e.Reference = at.Of(e.Measurement)
	case e.Statement != nil:
		e.Reference = at.Of(e.Statement)
	case e.Segment != nil:
		e.Reference = at.Of(e.Segment)
	case e.Image != nil:
		e.Reference = at.Of(e.Image)
	}
}

// Link points the judgement at its study, and its results at what their rules
// say of themselves. A rule that is not known has nothing to say but its
// identifier; what a reference no longer finds stays nil.
func (j *Judgement) Link(s *echo.Study, about func(rule string) *finding.About) {
	known := func(rule string) *finding.About {
		if a := about(rule); a != nil {
			return a
		}
		return &finding.About{Identifier: rule}
	}
	for i := range j.NotApplicable {
		j.NotApplicable[i].About = known(j.NotApplicable[i].Rule)
	}
	at := finding.NewPlaces(s)
	for i := range j.Results {
		res := &j.Results[i]
		res.About = known(res.Rule)
		for k := range res.Evidence {
			e := &res.Evidence[k]
			e.Measurement, e.Statement, e.Segment, e.Image = at.Measurement(e.Reference), at.Statement(e.Reference), at.Segment(e.Reference), at.Image(e.Reference)
		}
	}
	for i := range j.Several {
		one := &j.Several[i]
		one.Chosen, one.Values = at.Measurement(one.Counts), make([]*echo.Measurement, len(one.References))
		for k, r := range one.References {
			one.Values[k] = at.Measurement(r)
		}
	}
	if a := j.Acquisition; a != nil {
		for i := range a.Spectra {
			link(&a.Spectra[i], s, at)
		}
	}
	j.eachAdjusted(func(m **echo.Measurement, r *finding.Reference) { *m = at.Measurement(*r) })
}

func link(spectrum *finding.AcquiredSpectrum, s *echo.Study, at *finding.Places) {
	m := at.Measurement(spectrum.Reference)
	if m == nil || m.Link == nil || m.Link.Region < 0 {
		return
	}
	spectrum.Measurement, spectrum.Image = m, &s.Images[m.Link.Image]
	spectrum.Region = &spectrum.Image.Regions[m.Link.Region]
}

// eachAdjusted visits the measurements of the reconciliation.
func (j *Judgement) eachAdjusted(visit func(m **echo.Measurement, r *finding.Reference)) {
	if j.Reconciliation == nil {
		return
	}
	for i := range j.Reconciliation.Residuals {
		visit(&j.Reconciliation.Residuals[i].Measurement, &j.Reconciliation.Residuals[i].Reference)
	}
	for _, round := range j.Reconciliation.Suspects {
		for i := range round {
			visit(&round[i].Measurement, &round[i].Reference)
		}
	}
}
