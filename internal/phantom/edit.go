package phantom

import "slices"

// ChooseJet makes the view the one that sees the jet best.
func (c *Record) ChooseJet(view term) {
	found := c.Find(JetVelocity)
	best := slices.IndexFunc(found, func(r *Reading) bool { return r.Chosen })
	here := slices.IndexFunc(found, func(r *Reading) bool { return r.View == view })
	found[best].Values, found[here].Values = found[here].Values, found[best].Values
	found[best].Chosen, found[here].Chosen = false, true
}

// Exchange gives each of two single readings the value of the other.
func (c *Record) Exchange(first, second string) {
	a, b := c.One(first), c.One(second)
	x, y := a.Value(), b.Value()
	a.Set(y)
	b.Set(x)
}

// Rvsp gives the record the pressure that belongs to a velocity.
func (c *Record) Rvsp(velocity, atrial float64) {
	if c.Has("right-ventricular-systolic-pressure") {
		c.One("right-ventricular-systolic-pressure").Set(Gradient(velocity) + atrial)
	}
}

// KeepJet drops the jets of other views and lets the kept one stand for all.
func (c *Record) KeepJet(view term) {
	kept := c.Readings[:0]
	for _, r := range c.Readings {
		if r.Quantity.Measurand == JetVelocity {
			if r.View != view {
				continue
			}
			r.Set(c.Heart.Jet)
			r.Chosen = true
		}
		kept = append(kept, r)
	}
	c.Readings = kept
}

// Add says something more.
func (c *Record) Add(r Remark) { c.Remarks = append(c.Remarks, r) }
