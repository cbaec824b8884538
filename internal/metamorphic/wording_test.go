package metamorphic

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
)

// wordings are transformations of how things are spelled.
func wordings() []transformation {
	out := []transformation{
		{name: "older SNOMED identifiers", apply: spelling(func(b *bench, c *concept) bool {
			if old := b.legacy[c.value]; c.scheme == "SCT" && old != "" {
				c.scheme, c.value = "SRT", old
				return true
			}
			return false
		})},
		{name: "SNOMED numbers", apply: spelling(func(_ *bench, c *concept) bool {
			if k := c.key(); c.scheme == "SRT" && k.CodingSchemeDesignator == "SCT" {
				c.scheme, c.value = "SCT", k.CodeValue
				return true
			}
			return false
		})},
		{name: "SRT called 99SDM", apply: spelling(func(_ *bench, c *concept) bool {
			was := c.scheme == "SRT"
			if was {
				c.scheme = "99SDM"
			}
			return was
		})},
		{name: "other code meanings", apply: spelling(func(_ *bench, c *concept) bool {
			if strings.HasPrefix(c.scheme, "99") && c.scheme != "99SDM" {
				return false // what nobody mapped may be recognized by its words
			}
			c.meaning = fmt.Sprintf("Bezeichnung %d", len(c.meaning))
			return true
		})},
		{name: "other meanings of unknown codes", apply: spelling(func(_ *bench, c *concept) bool {
			if !strings.HasPrefix(c.scheme, "99") || c.scheme == "99SDM" {
				return false
			}
			c.meaning = fmt.Sprintf("Bezeichnung %d", len(c.meaning))
			return true
		})},
		{name: "code meanings in capitals", apply: spelling(func(_ *bench, c *concept) bool {
			c.meaning = strings.ToUpper(c.meaning)
			return true
		})},
		{name: "coding scheme versions and context groups", apply: spelling(func(_ *bench, c *concept) bool {
			c.more = []dcm.Element{dcm.Strings(dcm.T(0x00080103), "20240101"), dcm.Strings(dcm.T(0x0008010F), "12300")}
			return true
		})},
		{name: "modifiers as acquisition context", apply: related("HAS ACQ CONTEXT")},
		{name: "modifiers as concept modifiers", apply: related("HAS CONCEPT MOD")},
		{name: "modifiers contained", apply: related("CONTAINS")},
		{name: "language on every container", apply: withLanguage},
		{name: "language absent", apply: func(_ *bench, s *study) bool {
			for _, r := range s.reports {
				r.remove(func(n *node) bool { return n.named(language) })
			}
			return true
		}},
		{name: "empty optional attributes", apply: withEmpty},
		{name: "continuous text", apply: func(_ *bench, s *study) bool {
			s.walk(func(n *node) {
				if n.isContainer() {
					n.rest.Set(dcm.Strings(tagContinuity, "CONTINUOUS"))
				}
			})
			return true
		}},
		{name: "other identifiers and names", apply: renamed},
		{name: "another day", apply: shifted},
		{name: "words with line breaks", apply: brokenLines},
		{name: "gradients by simplified Bernoulli", apply: declared("-peak-gradient", concept{value: "125218", scheme: "DCM", meaning: "Simplified Bernoulli"})},
		{name: "biplane volumes by discs, biplane", apply: declared("-systolic-volume-biplane", concept{value: "125207", scheme: "DCM", meaning: "Method of Disks, Biplane"})},
		{name: "biplane fractions by discs, biplane", apply: declared("-fraction-biplane", concept{value: "125207", scheme: "DCM", meaning: "Method of Disks, Biplane"})},
		{name: "areas by continuity of integrals", apply: declared("aortic-valve-area-continuity", concept{value: "125215", scheme: "DCM", meaning: "Continuity Equation by Velocity Time Integral"})},
		{name: "the formula of the body surface area absent", apply: withoutFormula},
		{name: "a third of the names private and mapped", apply: privateNames},
	}
	return append(out, encodings()...)
}

func spelling(change func(*bench, *concept) bool) func(*bench, *study) bool {
	return func(b *bench, s *study) (done bool) {
		s.walk(func(n *node) {
			done = change(b, &n.name) || done
			if n.valueType == "CODE" {
				done = change(b, &n.coded) || done
			}
		})
		return done
	}
}

func related(relation string) func(*bench, *study) bool {
	return func(_ *bench, s *study) (done bool) {
		for _, n := range s.numbers() {
			for _, m := range n.children {
				if m.isModifier() && m.relation != relation {
					m.relation, done = relation, true
				}
			}
		}
		return done
	}
}

func withLanguage(_ *bench, s *study) bool {
	s.walk(func(n *node) {
		if n.isContainer() && n.relation != "" {
			n.children = append([]*node{newModifier("HAS CONCEPT MOD", language, "Language of Content Item and Descendants",
				concept{value: "en", scheme: "RFC5646", meaning: "English"})}, n.children...)
		}
	})
	return true
}

// withEmpty writes type 2 and 3 attributes without a value.
func withEmpty(_ *bench, s *study) bool {
	for _, n := range s.numbers() {
		n.rest.Add(dcm.Sequence(dcm.T(0x0040A301)), dcm.Strings(dcm.T(0x0040A032)))
		if len(n.children) == 0 {
			n.rest.Add(dcm.Sequence(dcm.T(0x0040A730)))
		}
	}
	for _, r := range s.reports {
		for _, tag := range []uint32{0x00081030, 0x0008103E, 0x00081080, 0x00101001, 0x0040A360, 0x0040A375, 0x0040A385, 0x0040A372} {
			if !r.rest.Has(dcm.T(tag)) {
				r.rest.Add(emptyOf(tag))
			}
		}
	}
	return true
}

func emptyOf(tag uint32) dcm.Element {
	if tag>>16 == 0x0040 {
		return dcm.Sequence(dcm.T(tag))
	}
	return dcm.Strings(dcm.T(tag))
}

func renamed(_ *bench, s *study) bool {
	for _, r := range s.reports {
		for _, tag := range []dcm.Tag{tagStudy, tagSeries, tagInstance} {
			r.rest.Set(dcm.Strings(tag, r.rest.Text(tag)+".9"))
		}
		r.rest.Set(dcm.Strings(dcm.T(0x00100010), "Testfrau^Erika"), dcm.Strings(dcm.T(0x00100020), "X-9"),
			dcm.Strings(dcm.T(0x00080050), "ACC-9"), dcm.Strings(dcm.T(0x00080080), "Another laboratory (invented)"))
		if old := r.rest.Sequence(dcm.T(0x0040A360)); len(old) > 0 {
			r.rest.Set(predecessor(r, s.reports[0].rest.Text(tagInstance)))
		}
	}
	return true
}

func shifted(_ *bench, s *study) bool {
	for _, r := range s.reports {
		for _, tag := range []uint32{0x00080012, 0x00080020, 0x00080023} {
			if day, err := time.Parse("20060102", r.rest.Text(dcm.T(tag))); err == nil {
				r.rest.Set(dcm.Strings(dcm.T(tag), day.AddDate(-1, 2, 3).Format("20060102")))
			}
		}
	}
	return true
}

func brokenLines(_ *bench, s *study) (done bool) {
	s.walk(func(n *node) {
		if words := strings.Fields(n.text); n.valueType == "TEXT" && n.relation == "CONTAINS" && len(words) > 3 {
			n.text, done = " "+strings.Join(words[:2], "  ")+"\r\n"+strings.Join(words[2:], " ")+"\r\n", true
		}
	})
	return done
}

// declared adds a method (PS3.16 CID 12227) to measurements that state none.
func declared(ending string, code concept) func(*bench, *study) bool {
	return func(_ *bench, s *study) (done bool) {
		for _, n := range s.numbers() {
			if strings.HasSuffix(n.measurand, ending) && n.modifier(method) == nil {
				n.children, done = append(n.children, newModifier("HAS CONCEPT MOD", method, "Measurement Method", code)), true
			}
		}
		return done
	}
}

func withoutFormula(_ *bench, s *study) (done bool) {
	for _, r := range s.reports {
		r.remove(func(n *node) bool {
			drop := n.name.is("LN", "8278-4")
			done = done || drop
			return drop
		})
	}
	return done
}

func privateNames(b *bench, s *study) (done bool) {
	for i, n := range s.numbers() {
		if code := b.code[n.measurand]; code != "" && i%3 == 0 {
			n.name = concept{value: code, scheme: "99INVENTED", meaning: "Quantity " + strconv.Itoa(i)}
			done = true
		}
	}
	s.private = true
	return done
}

func encodings() []transformation {
	as := func(how dcmtest.Encoding, latin bool) func(*bench, *study) bool {
		return func(_ *bench, s *study) bool {
			if s.encoding != nil {
				return false
			}
			s.encoding, s.latin = &how, latin
			if how.CharacterSet != "" && how.CharacterSet != "ISO_IR 6" {
				for _, r := range s.reports {
					r.rest.Set(dcm.Strings(dcm.T(0x00100010), "Müßig^Jörg"))
				}
			}
			return true
		}
	}
	return []transformation{
		{name: "explicit little endian", apply: as(dcmtest.Encoding{CharacterSet: "ISO_IR 192"}, false)},
		{name: "implicit little endian", apply: as(dcmtest.Encoding{TransferSyntax: dcm.ImplicitVRLittleEndian, CharacterSet: "ISO_IR 192"}, false)},
		{name: "big endian", apply: as(dcmtest.Encoding{TransferSyntax: dcm.ExplicitVRBigEndian, CharacterSet: "ISO_IR 192"}, false)},
		{name: "deflated", apply: as(dcmtest.Encoding{TransferSyntax: dcm.DeflatedExplicitVRLittleEndian, CharacterSet: "ISO_IR 192"}, false)},
		{name: "defined lengths", apply: as(dcmtest.Encoding{DefinedLengths: true, CharacterSet: "ISO_IR 192"}, false)},
		{name: "without a meta header", apply: as(dcmtest.Encoding{NoMeta: true, CharacterSet: "ISO_IR 192"}, false)},
		{name: "character set ISO_IR 100", apply: as(dcmtest.Encoding{CharacterSet: "ISO_IR 100"}, true)},
		{name: "character set ISO_IR 6", apply: as(dcmtest.Encoding{CharacterSet: "ISO_IR 6"}, false)},
	}
}
