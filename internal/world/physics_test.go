package world

import (
	"fmt"
	"math"
	"testing"

	"echotally/internal/world/chance"
)

func hearts(n int, f func(h *heart)) {
	for i := range conditions {
		c := conditions[i].filled()
		for s := range n {
			r := chance.New(uint64(s), "physics", c.name)
			f(newHeart(r, conditions[i], newPatient(r, &c)))
		}
	}
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Abs(want)+1e-9 {
		t.Errorf("%s: %g, want %g", what, got, want)
	}
}

// TestConservation: flows of one beat agree by mass, sites by continuity.
func TestConservation(t *testing.T) {
	area := func(d float64) float64 { return math.Pi / 4 * d * d }
	hearts(40, func(h *heart) {
		f, v, n := h.flow, h.v, h.c.name
		near(t, n+" LV out", f.lvTotal, f.fwd+f.ar+f.mr+f.vsd, 1e-9)
		near(t, n+" LV in = LV out", f.mitral+f.ar, f.lvTotal, 1e-9)
		near(t, n+" RV in = RV out", f.tv+f.pr, f.rvTotal, 1e-9)
		near(t, n+" lungs = left return", f.rvot-f.pr, f.mitral-f.mr+f.asd, 1e-9)
		near(t, n+" LV volumes", h.edv-h.esv, f.lvTotal, 1e-9)
		near(t, n+" EF", 100*(v["EDV"]-v["ESV"])/v["EDV"], v["EF"], 1e-9)
		if _, ok := v["LVOTvti"]; ok {
			near(t, n+" LVOT flow", area(v["LVOTd"])*v["LVOTvti"], f.lvot, 1e-9)
			near(t, n+" AV continuity", v["AVA"]*v["AVvti"], f.lvot, 1e-9)
		}
		near(t, n+" RVOT flow", area(v["RVOTd"])*v["RVOTvti"], f.rvot, 1e-9)
		near(t, n+" mitral flow", area(v["MVann"])*v["MVavti"], f.mitral, 1e-9)
		near(t, n+" RVSP", 4*v["TRv"]*v["TRv"]+v["RAP"], v["RVSP"], 1e-9)
		for _, k := range []string{"AR", "MR", "TR"} {
			if r, ok := v[k+"r"]; ok {
				near(t, n+k+" PISA", 2*math.Pi*r*r*v[k+"va"]/(100*v[k+"v"]), v[k+"eroa"], 1e-9)
			}
		}
		if p, ok := v["MVpht"]; ok {
			near(t, n+" PHT", p*v["MVA"], 220, 1e-9)
			near(t, n+" MV continuity", v["MVA"]*v["MVvti"], f.mitral, 1e-9)
		}
	})
}

// TestUnroundedRelations: every recomputation relation holds on the true
// values within scatter, and every order or range relation with its gates.
func TestUnroundedRelations(t *testing.T) {
	skip := keySet("RAP", "PASP", "MPAP", "COUP") // estimates, not identities, of the true pressure
	seen := map[string]int{}
	hearts(25, func(h *heart) {
		val := map[string]float64{"BSA": h.bsa, "SBP": h.p.SBP}
		for k, v := range h.v {
			val[k] = v
		}
		for _, f := range formulas {
			if !hasAll(val, f.need) {
				continue
			}
			got := f.f(func(k string) float64 { return val[k] })
			if truth, ok := h.v[f.out]; ok && !skip[f.out] {
				near(t, h.c.name+" "+f.out, got, truth, .05)
				seen[f.out]++
				continue
			}
			val[f.out] = got
		}
		rp := &report{h: h, d: dialects[0]}
		s := shown{rp, val, map[string]float64{}}
		val["AVpg"] = 4 * val["AVv"] * val["AVv"]
		for _, b := range bands {
			if v, ok := s.checkBand(b); ok {
				seen[b.id]++
				if v.strength > 1.05 {
					t.Errorf("%s %s %v: strength %.2f", h.c.name, b.id, b.in, v.strength)
				}
			}
		}
	})
	if len(seen) < 30 {
		t.Errorf("only %d relations evaluated: %v", len(seen), seen)
	}
}

// TestPlausibility: true values of health and disease keep the hard limits.
func TestPlausibility(t *testing.T) {
	hearts(60, func(h *heart) {
		for k, l := range hardLimits {
			if v, ok := h.v[k]; ok && (v < l[0] || v > l[1]) {
				t.Errorf("%s %s = %g outside %v", h.c.name, k, v, l)
			}
		}
	})
}

// TestGrades: the numbers of each lesion fall into the tier they are graded.
func TestGrades(t *testing.T) {
	got := map[string]bool{}
	hearts(30, func(h *heart) {
		for k, g := range h.grade {
			got[fmt.Sprint(k, g)] = true
		}
		if h.grade["MR"] == 3 && h.flow.mr < 52 { // 60 mL, one reading of 13 % below
			t.Errorf("%s: severe MR with %.0f mL", h.c.name, h.flow.mr)
		}
		if h.grade["AR"] == 3 && h.flow.ar < 52 {
			t.Errorf("%s: severe AR with %.0f mL", h.c.name, h.flow.ar)
		}
	})
	for _, k := range []string{"AS3", "AR2", "AR3", "MR1", "MR2", "MR3", "MS3", "TR1", "TR3", "PS2", "PR3"} {
		if !got[k] {
			t.Errorf("no patient with %s", k)
		}
	}
}
