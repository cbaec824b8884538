package demo

import (
	"math/rand/v2"
	"slices"
)

// record is a study as the sonographer stored it, before a scanner's dialect
// writes it down. Faults are seeded here.
type record struct {
	profile  profile
	subject  subject
	heart    circulation
	readings []*reading
	remarks  []remark
	rhythm   *code // coded rhythm, nil when it stands in words only
	wall     *wallScoring

	sonographer string // who scanned; "" for the one of the plain lab
}

// reading is one quantity as taken.
type reading struct {
	quantity    quantity
	values      []float64 // individual values in the order taken
	mean        bool      // a mean is recorded beside them
	chosen      bool      // marked as the value that counts
	derived     bool
	view        term
	respiration term
	derivation  term
	score       *score   // its z-score, nil when none is recorded
	image       *picture // it was taken on; nil when the study has none

	// What faults change.
	scale     float64 // factor of a unit slip; the unit stays as it is
	unit      *code   // unit written instead of the dialect's
	unitless  bool    // no unit is written
	empty     bool    // no value is written
	qualifier *code   // Numeric Value Qualifier
	copies    int     // exact duplicates, sent in a further group
}

// remark is a line of the report: words, or a coded finding.
type remark struct {
	section term // "" for the conclusions
	text    string
	code    *code
	topic   string // short name by which faults find it
}

// value is what stands for the reading: the mean where one is recorded,
// otherwise the highest of the individual values.
func (r *reading) value() float64 {
	if !r.mean {
		return slices.Max(r.values)
	}
	return average(r.values)
}

// set replaces the values by one that stands alone, scaled from what was.
func (r *reading) set(value float64) {
	factor := value / r.value()
	for i := range r.values {
		r.values[i] *= factor
	}
}

func average(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// find returns the readings of a measurand in order.
func (c *record) find(measurand string) []*reading {
	var found []*reading
	for _, r := range c.readings {
		if r.quantity.measurand == measurand {
			found = append(found, r)
		}
	}
	return found
}

// one returns the only or last reading of a measurand; it must be there.
func (c *record) one(measurand string) *reading {
	found := c.find(measurand)
	if len(found) == 0 {
		panic("internal error: demo record has no " + measurand)
	}
	return found[len(found)-1]
}

// has reports whether every measurand was taken.
func (c *record) has(measurands ...string) bool {
	for _, m := range measurands {
		if len(c.find(m)) == 0 {
			return false
		}
	}
	return true
}

// value is what stands for the measurand in the study: the highest of several
// readings for a jet taken from several views, otherwise the last.
func (c *record) value(measurand string) float64 {
	found := c.find(measurand)
	if measurand == jetVelocity {
		highest := 0.0
		for _, r := range found {
			highest = max(highest, r.value())
		}
		return highest
	}
	return found[len(found)-1].value()
}

// remove drops every reading of the measurands.
func (c *record) remove(measurands ...string) {
	c.readings = slices.DeleteFunc(c.readings, func(r *reading) bool {
		return slices.Contains(measurands, r.quantity.measurand)
	})
}

// reword replaces the text of a remark; an empty text removes it.
func (c *record) reword(topic, text string) {
	if text == "" {
		c.remarks = slices.DeleteFunc(c.remarks, func(r remark) bool { return r.topic == topic })
		return
	}
	for i := range c.remarks {
		if c.remarks[i].topic == topic {
			c.remarks[i].text = text
		}
	}
}

// taker takes readings from a circulation.
type taker struct {
	*record
	random *rand.Rand
}

// take records one value.
func (t taker) take(measurand string, value float64) *reading {
	q := quantityOf(measurand)
	r := &reading{quantity: q, values: []float64{value}, view: q.view, scale: 1}
	t.readings = append(t.readings, r)
	return r
}

// beats records n beats around the value and their mean; the mean of the
// unrounded beats is the value itself.
func (t taker) beats(measurand string, value float64) *reading {
	n, spread := 3, 0.02
	if t.profile.rhythm == atrialFibrillation {
		n, spread = 5, 0.05
	}
	r := t.take(measurand, value)
	r.values, r.mean = scatter(t.random, value, n, spread), true
	return r
}

// derive records a value the scanner computed from unrounded others.
func (t taker) derive(measurand string, value float64) *reading {
	r := t.take(measurand, value)
	r.derived = true
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
func (t taker) say(section term, topic, text string) {
	t.remarks = append(t.remarks, remark{section: section, topic: topic, text: text})
}
