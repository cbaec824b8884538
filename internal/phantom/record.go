package phantom

import (
	"math/rand/v2"
	"slices"
)

// Record is a study as the sonographer stored it, before a scanner's dialect
// writes it down. Faults are seeded here.
type Record struct {
	Profile  Profile
	Subject  Subject
	Heart    Circulation
	Readings []*Reading
	Remarks  []Remark
	rhythm   *code // coded rhythm, nil when it stands in words only
	Wall     *wallScoring

	Sonographer string // who scanned; "" for the one of the plain lab
}

// Reading is one quantity as taken.
type Reading struct {
	Quantity    quantity
	Values      []float64 // individual values in the order taken
	Mean        bool      // a mean is recorded beside them
	Chosen      bool      // marked as the value that counts
	Derived     bool
	View        term
	Respiration term
	derivation  term
	Score       *score   // its z-score, nil when none is recorded
	Image       *Picture // it was taken on; nil when the study has none

	// What faults change.
	Scale     float64 // factor of a unit slip; the unit stays as it is
	Unit      *code   // unit written instead of the dialect's
	Unitless  bool    // no unit is written
	Empty     bool    // no value is written
	Qualifier *code   // Numeric Value Qualifier
	Copies    int     // exact duplicates, sent in a further group
}

// Remark is a line of the report: words, or a coded finding.
type Remark struct {
	Section term // "" for the conclusions
	Text    string
	code    *code
	Topic   string // short name by which faults find it
}

// Value is what stands for the reading: the mean where one is recorded,
// otherwise the highest of the individual values.
func (r *Reading) Value() float64 {
	if !r.Mean {
		return slices.Max(r.Values)
	}
	return average(r.Values)
}

// Set replaces the values by one that stands alone, scaled from what was.
func (r *Reading) Set(value float64) {
	factor := value / r.Value()
	for i := range r.Values {
		r.Values[i] *= factor
	}
}

func average(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// Find returns the readings of a measurand in order.
func (c *Record) Find(measurand string) []*Reading {
	var found []*Reading
	for _, r := range c.Readings {
		if r.Quantity.Measurand == measurand {
			found = append(found, r)
		}
	}
	return found
}

// One returns the only or last reading of a measurand; it must be there.
func (c *Record) One(measurand string) *Reading {
	found := c.Find(measurand)
	if len(found) == 0 {
		panic("internal error: demo record has no " + measurand)
	}
	return found[len(found)-1]
}

// Has reports whether every measurand was taken.
func (c *Record) Has(measurands ...string) bool {
	for _, m := range measurands {
		if len(c.Find(m)) == 0 {
			return false
		}
	}
	return true
}

// Value is what stands for the measurand in the study: the highest of several
// readings for a jet taken from several views, otherwise the last.
func (c *Record) Value(measurand string) float64 {
	found := c.Find(measurand)
	if measurand == JetVelocity {
		highest := 0.0
		for _, r := range found {
			highest = max(highest, r.Value())
		}
		return highest
	}
	return found[len(found)-1].Value()
}

// Remove drops every reading of the measurands.
func (c *Record) Remove(measurands ...string) {
	c.Readings = slices.DeleteFunc(c.Readings, func(r *Reading) bool {
		return slices.Contains(measurands, r.Quantity.Measurand)
	})
}

// Reword replaces the text of a remark; an empty text removes it.
func (c *Record) Reword(topic, text string) {
	if text == "" {
		c.Remarks = slices.DeleteFunc(c.Remarks, func(r Remark) bool { return r.Topic == topic })
		return
	}
	for i := range c.Remarks {
		if c.Remarks[i].Topic == topic {
			c.Remarks[i].Text = text
		}
	}
}

// Taker takes readings from a circulation.
type Taker struct {
	*Record
	Random *rand.Rand
}

// Take records one value.
func (t Taker) Take(measurand string, value float64) *Reading {
	q := QuantityOf(measurand)
	r := &Reading{Quantity: q, Values: []float64{value}, View: q.view, Scale: 1}
	t.Readings = append(t.Readings, r)
	return r
}

// beats records n beats around the value and their mean; the mean of the
// unrounded beats is the value itself.
func (t Taker) beats(measurand string, value float64) *Reading {
	n, spread := 3, 0.02
	if t.Profile.rhythm == atrialFibrillation {
		n, spread = 5, 0.05
	}
	r := t.Take(measurand, value)
	r.Values, r.Mean = scatter(t.Random, value, n, spread), true
	return r
}

// Derive records a value the scanner computed from unrounded others.
func (t Taker) Derive(measurand string, value float64) *Reading {
	r := t.Take(measurand, value)
	r.Derived = true
	return r
}

// scatter gives n values whose mean is the centre.
func scatter(random *rand.Rand, centre float64, n int, spread float64) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = near(random, 1, spread)
	}
	mean := average(values)
	for i := range values {
		values[i] *= centre / mean
	}
	return values
}

// say adds a line of the report.
func (t Taker) say(section term, topic, text string) {
	t.Remarks = append(t.Remarks, Remark{Section: section, Topic: topic, Text: text})
}
