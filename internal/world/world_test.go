package world

import (
	"bytes"
	"strings"
	"testing"
)

func TestCounts(t *testing.T) {
	if n := len(Dialects()); n < 8 {
		t.Errorf("%d dialects", n)
	}
	if n := len(Conditions()); n < 20 {
		t.Errorf("%d conditions", n)
	}
	none := 0
	seen := map[string]bool{}
	for _, k := range SlipKinds() {
		if seen[k[0]] {
			t.Errorf("kind %s twice", k[0])
		}
		seen[k[0]] = true
		if k[1] == "" {
			none++
		}
	}
	if len(seen) < 50 || none < 12 || len(GapKinds()) < 15 {
		t.Errorf("%d slips, %d without cause, %d gaps", len(seen), none, len(GapKinds()))
	}
	t.Logf("%d dialects, %d conditions, %d slip kinds (%d without cause), %d gap kinds",
		len(Dialects()), len(Conditions()), len(seen), none, len(GapKinds()))
}

func TestDeterministic(t *testing.T) {
	a, b := Clean(5, 24), Clean(5, 24)
	for i := range a {
		for j := range a[i].Files {
			if !bytes.Equal(a[i].Files[j].Data, b[i].Files[j].Data) {
				t.Fatalf("study %d file %d differs", i, j)
			}
		}
	}
	if c := Clean(6, 1); bytes.Equal(a[0].Files[0].Data, c[0].Files[0].Data) {
		t.Error("another seed gives the same study")
	}
	p, q := Slips(5, 30), Slips(5, 30)
	for i := range p {
		if !bytes.Equal(p[i].Slipped.Files[0].Data, q[i].Slipped.Files[0].Data) {
			t.Fatalf("slip %d differs", i)
		}
	}
}

func TestUniqueUIDs(t *testing.T) {
	seen := map[string]bool{}
	add := func(s Study) {
		if seen[s.UID] || len(s.UID) > 64 || !strings.HasPrefix(s.UID, "2.25.") {
			t.Errorf("uid %s", s.UID)
		}
		seen[s.UID] = true
	}
	for _, s := range Clean(1, 60) {
		add(s)
	}
	for _, p := range Slips(1, 40) {
		add(p.Clean)
		add(p.Slipped)
	}
}

// TestTwins: every kind finds a place, the twin stays clean, the slip shows,
// and the truth points at the altered items.
func TestTwins(t *testing.T) {
	for seed := uint64(1); seed <= 3; seed++ {
		for _, p := range Slips(seed, len(slipKinds)) {
			tr := p.Slipped.Truth
			if p.Clean.Truth != nil || !tr.Slip || tr.DetectableWhy == "" || len(tr.Altered) == 0 || tr.Altered[0].Follows {
				t.Errorf("%s: truth %+v", tr.Kind, tr)
			}
			for _, a := range tr.Altered {
				if a.Written == a.True && a.Unit == a.TrueUnit {
					t.Errorf("%s: %+v unaltered", tr.Kind, a)
				}
				if a.Scheme != "attribute" && (!strings.HasPrefix(a.Path, "1.") || a.Doc >= len(p.Slipped.Files)) {
					t.Errorf("%s: place %+v", tr.Kind, a)
				}
			}
		}
		for _, p := range Gaps(seed, len(gapKinds)) {
			tr := p.Slipped.Truth
			if !tr.Gap || tr.Slip || !p.Clean.Complete || p.Slipped.Complete || len(tr.Altered) == 0 {
				t.Errorf("%s: truth %+v", tr.Kind, tr)
			}
		}
	}
}

// TestEveryPlace: each dialect and condition gives clean complete and
// incomplete studies within few draws.
func TestEveryPlace(t *testing.T) {
	for _, d := range dialects {
		for i := range conditions {
			for _, pf := range []profile{{complete: true}, {}, {limited: true}} {
				rp := cleanReport(9, i, d, &conditions[i], pf)
				if len(rp.items) < 20 {
					t.Errorf("%s %s: %d items", d.name, conditions[i].name, len(rp.items))
				}
			}
		}
	}
}

// minimum are the numbers section 3 of completeness.md asks of every study.
var minimum = []string{"LVIDd", "LVIDs", "IVSd", "PWd", "MassI", "EDV", "ESV", "EF", "EDVi", "ESVi", "GLS", "E", "A", "EA", "DT",
	"ePs", "ePl", "Ees", "Eel", "Eea", "LAV", "LAVi", "RAA", "RAVi", "RVD1", "RVD2", "RVD3", "TAPSE", "RVS", "FAC", "LVOTd",
	"LVOTvti", "SV", "SVi", "AVv", "AVvti", "AVmg", "TVE", "TRv", "RVOTvti", "PVat", "PVv", "PRv", "ANN", "SOV", "STJ", "ASC",
	"ARCH", "IVCe", "IVCi", "IVCc", "RAP", "RVSP"}

func TestCompleteMeansComplete(t *testing.T) {
	for _, d := range dialects {
		for i := range conditions {
			c := &conditions[i]
			rp := cleanReport(4, i, d, c, profile{complete: true})
			for _, k := range minimum {
				gone := c.lvoto && keySet("LVOTvti", "SV", "SVi", "AVv", "AVvti", "AVmg")[k] || c.af && keySet("A", "EA")[k]
				if !gone && !hasItem(rp.items, k) {
					t.Errorf("%s %s lacks %s", d.name, c.name, k)
				}
			}
			if len(itemWindows(rp.items, "TRv")) < 2 {
				t.Errorf("%s %s: one TR window", d.name, c.name)
			}
			if rp.h.grade["AS"] > 0 && len(itemWindows(rp.items, "AVv")) < 2 {
				t.Errorf("%s %s: one AS window", d.name, c.name)
			}
		}
	}
}

func TestPrivateCodes(t *testing.T) {
	users := 0
	for _, d := range dialects {
		seen := map[string]string{}
		for _, m := range d.mappings() {
			if o, dup := seen[m.Private.Value]; dup {
				t.Errorf("%s: code %s for %s and %s", d.name, m.Private.Value, o, m.Private.Meaning)
			}
			seen[m.Private.Value] = m.Private.Meaning
			if m.Standard.Value == "" || len(m.Private.Value) > 16 {
				t.Errorf("%s: mapping %+v", d.name, m)
			}
		}
		if len(seen) > 0 {
			users++
		}
	}
	if users < 2 {
		t.Errorf("%d dialects with private codes", users)
	}
}

func TestDecimalStrings(t *testing.T) {
	for _, s := range Clean(3, 24) {
		for _, f := range s.Files {
			if !bytes.Equal(f.Data[128:132], []byte("DICM")) || len(f.Data)%2 != 0 {
				t.Errorf("%s: no Part 10 file", f.Name)
			}
		}
	}
	for _, x := range []float64{-20.54450656475, 1e-9, 123456789.123456789, 0} {
		if s := ds(x, -1); len(s) > 16 {
			t.Errorf("%q too long", s)
		}
	}
}

// TestLoincDigits checks the check digit (mod 10) of every LN code used.
func TestLoincDigits(t *testing.T) {
	ok := func(v string) bool {
		body, digit, found := strings.Cut(v, "-")
		if !found || len(digit) != 1 {
			return false
		}
		sum, double := 0, true
		for i := len(body) - 1; i >= 0; i-- {
			n := int(body[i] - '0')
			if double {
				n *= 2
				if n > 9 {
					n -= 9
				}
			}
			sum += n
			double = !double
		}
		return (10-sum%10)%10 == int(digit[0]-'0')
	}
	for i := range catalogue {
		for _, s := range []string{catalogue[i].code, catalogue[i].pre} {
			if c := parseCode(s); c.Scheme == "LN" && !ok(c.Value) {
				t.Errorf("%s: %s", catalogue[i].key, c.Value)
			}
		}
	}
}

// TestHabits: the promised habits of dialects are there.
func TestHabits(t *testing.T) {
	texts := map[string]int{}
	roles := map[string]bool{}
	for i := range dialects {
		d := dialects[i]
		for j, c := range []string{"normal-old", "mr-primary-severe", "constriction"} {
			rp := cleanReport(8, j, d, condByName(c), profile{complete: j == 0})
			for doc := range rp.head {
				rp.tree(doc).walk("1", func(_ string, n *node) {
					if n.vt == "TEXT" && n.rel == cont {
						texts[d.name]++
					}
					if n.vt == "NUM" && strings.HasPrefix(n.text, "-") {
						roles["negative"] = true
					}
				})
			}
			for _, it := range rp.items {
				roles[it.role] = true
			}
		}
	}
	if texts["ispole"] != 0 || len(texts) != len(dialects)-1 {
		t.Errorf("texts by dialect: %v", texts)
	}
	for _, r := range []string{"beat", "mean", "best", "old", "recent", "copy", "empty", "value", "negative"} {
		if !roles[r] {
			t.Errorf("no item of role %s", r)
		}
	}
}
