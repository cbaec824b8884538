package expr

import "echotally/internal/ucum"

// coherent returns the unit of a dimension made of m, g, s and rad.
func coherent(d ucum.Dimension) ucum.Unit {
	var out ucum.Unit
	for _, base := range []struct {
		code string
		n    int8
	}{{"m", d.Length}, {"g", d.Mass}, {"s", d.Time}, {"rad", d.Angle}} {
		if base.n == 0 {
			continue
		}
		u, _ := ucum.Parse(base.code)
		out = out.Mul(u.Pow(int(base.n)))
	}
	return out
}

// halved is the dimension of a square root.
func halved(d ucum.Dimension) (ucum.Dimension, bool) {
	if d.Length%2 != 0 || d.Mass%2 != 0 || d.Time%2 != 0 || d.Angle%2 != 0 || (d != ucum.Dimension{Length: d.Length, Mass: d.Mass, Time: d.Time, Angle: d.Angle}) {
		return d, false
	}
	return ucum.Dimension{Length: d.Length / 2, Mass: d.Mass / 2, Time: d.Time / 2, Angle: d.Angle / 2}, true
}

// productUnit, quotientUnit and sharedUnit choose the unit a result is shown
// in: that of the operand which has one.
func productUnit(l, r typed) ucum.Unit {
	switch {
	case l.plain() && r.literal, r.plain() && !l.plain():
		return l.unit
	case l.plain():
		return r.unit
	}
	return settled(l.unit.Mul(r.unit))
}

func quotientUnit(l, r typed) ucum.Unit {
	if r.plain() {
		return l.unit
	}
	return settled(l.unit.Div(r.unit))
}

// settled turns cm/mm and the like into 1.
func settled(u ucum.Unit) ucum.Unit {
	if u.Dimension() == (ucum.Dimension{}) {
		return ucum.Unit{}
	}
	return u
}

func sharedUnit(l, r typed) ucum.Unit {
	if l.literal {
		return r.unit
	}
	return l.unit
}
