package rule

import (
	"maps"
	"slices"
	"strings"

	"echotally/internal/datafile/written"
)

// The short demands. Each is spelled out as one of the demands that are
// compiled when the file is read, so that nothing else need know of them; what
// it means stays in the file as data.

// Bounds is the range a value lies in: what is possible, or what is usual.
type Bounds struct {
	Value    MeasurandChoice    `yaml:"value"`
	From     ParameterAsWritten `yaml:"from"`
	To       ParameterAsWritten `yaml:"to"`
	Ordinary written.Text       `yaml:"ordinary"` // a value inside, for the examples
	Slip     written.Text       `yaml:"slip"`     // a slip the rule is for, outside
}

// Computed asks that a value is what others give; the formulas are tried in
// order.
type Computed struct {
	Value     string                 `yaml:"value"` // alias of the stated value
	From      Forms                  `yaml:"from"`
	Allowance ParameterAsWritten     `yaml:"allowance"`
	Declared  map[string]Names       `yaml:"declared"` // as in recompute
	Fits      map[string]GivenValues `yaml:"fits"`     // numbers that go together, for the examples
	Limit     map[string]GivenValues `yaml:"limit"`    // numbers of which the stated one is the last that passes
}

// The names of what short demands spell out.
const (
	shortAlias = "x"
	low, high  = "low", "high"
	allowance  = "allowance"
)

// short are the keys of the short demands, of which a rule has at most one.
func (f *File) short() []string {
	var out []string
	for key, given := range map[string]bool{
		"possible": f.Possible != nil, "usual": f.Usual != nil, "present": f.Present != nil, "ascending": f.Ascending != nil, "computed": f.Computed != nil,
	} {
		if given {
			out = append(out, key)
		}
	}
	slices.Sort(out)
	return out
}

// Bounds is the range the rule demands, of what is possible or usual; nil when
// it demands something else.
func (f *File) Bounds() *Bounds {
	if f.Possible != nil {
		return f.Possible
	}
	return f.Usual
}

// spell writes the short demand of the file out.
func (f *File) spell() {
	if b := f.Bounds(); b != nil {
		f.Measurands = with(f.Measurands, shortAlias, &b.Value)
		f.Parameters = with(with(f.Parameters, low, &b.From), high, &b.To)
		f.demands("between("+shortAlias+", "+low+", "+high+")", shortAlias)
	}
	if f.Present != nil {
		f.Measurands = with(f.Measurands, shortAlias, f.Present)
		f.demands("present(" + shortAlias + ")")
	}
	if f.Ascending != nil {
		f.demands(strings.Join(f.Ascending, " < "), f.Ascending...)
	}
	if c := f.Computed; c != nil {
		f.Recompute = &RecomputeForms{Stated: c.Value, From: c.From, Allowance: allowance, Declared: c.Declared}
		f.Parameters = with(f.Parameters, allowance, &c.Allowance)
		f.demands("", c.Value)
	}
}

// demands sets what is required, and that it is asked where values are there.
func (f *File) demands(require string, where ...string) {
	if f.Require == "" {
		f.Require = require
	}
	if f.AppliesTo.When != "" {
		return
	}
	var present []string
	for _, name := range where {
		present = append(present, "present("+name+")")
	}
	f.AppliesTo.When = strings.Join(present, " and ")
}

// spelled are the places where a short demand or key says what is compiled
// from elsewhere.
func (f *File) spelled() map[string]string {
	out := map[string]string{}
	for _, key := range f.short() {
		at := "$." + key
		out["$.require"], out["$.recompute"], out["$.appliesTo.when"] = at, at, at
		out["$.measurands."+shortAlias] = at + ".value"
		switch key {
		case "possible", "usual":
			out["$.parameters."+low], out["$.parameters."+high] = at+".from", at+".to"
		case "present":
			out["$.measurands."+shortAlias] = at
		case "computed":
			out["$.recompute.stated"], out["$.recompute.from"], out["$.parameters."+allowance] = at+".value", at+".from", at+".allowance"
		}
	}
	return out
}

// with is a map and one entry more; the map itself, which others may share,
// stays as it is.
func with[V any](m map[string]V, name string, v V) map[string]V {
	out := maps.Clone(m)
	if out == nil {
		out = map[string]V{}
	}
	out[name] = v
	return out
}
