package world

import (
	"fmt"

	"echotally/internal/world/chance"
)

// File is one complete DICOM Part 10 file.
type File struct {
	Name string
	Data []byte
}

// ItemRef points at one altered item. Doc is the index into Study.Files, Path
// the position of the content item by 1-based child numbers from the root
// "1"; for header attributes Scheme is "attribute", Code the tag and Path
// empty. Follows marks a value that is right arithmetic on an altered one.
type ItemRef struct {
	Code, Scheme, Meaning string
	Doc                   int
	Path                  string
	Written, True         string
	Unit, TrueUnit        string
	Key                   string // the generator's own name of the quantity
	Follows               bool
	Missing               bool // left out; Path is the place in the clean twin
}

// Truth says what is wrong or missing in a study.
type Truth struct {
	Kind          string
	Slip, Gap     bool
	Cause         string // class, or "" where no cause can be named
	Altered       []ItemRef
	Text          string
	DetectableWhy string // ids of consistency.md (Cnn) or "limit:parameter"
}

// Mapping tells what a private code stands for.
type Mapping struct {
	Private  Code
	Standard Code
	// Modifiers are concept name and value pairs that complete the meaning.
	Modifiers [][2]Code
}

// Study is one invented examination.
type Study struct {
	UID, Dialect, Condition, Language string
	Complete, WithoutText             bool
	Files                             []File
	Truth                             *Truth
	PrivateCodes                      []Mapping
}

// Pair is a study with a slip or gap and its clean twin.
type Pair struct{ Clean, Slipped Study }

func (rp *report) study(tag string) Study {
	return Study{UID: uid(rp.seed, tag, "study"), Dialect: rp.d.name, Condition: rp.h.c.name,
		Language: rp.lang, Complete: rp.complete, WithoutText: rp.noText,
		Files: rp.files(tag), PrivateCodes: rp.d.mappings()}
}

// mappings lists the private codes of a dialect.
func (d *dialect) mappings() []Mapping {
	var out []Mapping
	for i := range catalogue {
		df := &catalogue[i]
		if !d.privKeys[df.key] && (d.layout != "simplified" || df.pre != "" && df.key != "TRv" || uniqueCode(df)) {
			continue
		}
		if d.layout == "simplified" {
			out = append(out, Mapping{d.longCode(df.key), standardOf(df), modsOf(df)})
			continue
		}
		m := Mapping{Private: d.privCode(df.key), Standard: standardOf(df)}
		m.Modifiers = modsOf(df)
		out = append(out, m)
	}
	return out
}

func standardOf(df *def) Code {
	if df.pre != "" {
		return parseCode(df.pre)
	}
	if df.code != "" {
		return parseCode(df.code)
	}
	p, _ := splitProp(df.prop)
	return p
}

func modsOf(df *def) [][2]Code {
	if df.pre != "" {
		return nil
	}
	out := [][2]Code{}
	for _, t := range fields(df.mods) {
		out = append(out, [2]Code{modNames[t[0]], modValues[t[0]+":"+t[1]]})
	}
	if df.code == "" {
		_, div := splitProp(df.prop)
		if div.Value != "" {
			out = append(out, [2]Code{cDivisor, div})
		}
		if !containsPrefix(df.mods, "site:") {
			out = append(out, [2]Code{cSite, modValues["site:"+df.sec]})
		}
	}
	return out
}

// relMargin: a clean study keeps every relation below cleanMax of its
// tolerance; a slip must exceed slipMin of it.
const cleanMax, slipMin = 0.92, 1.4

// cleanReport draws reports until one meets every relation and limit.
func cleanReport(seed uint64, i int, d *dialect, c *cond, pf profile) *report {
	for try := 0; ; try++ {
		s := chance.New(seed, "study", fmt.Sprint(i), d.name, c.name, fmt.Sprint(try)).Uint64()
		rp := newReport(s, d, c, pf)
		if len(worst(rp.violations(), cleanMax)) == 0 {
			return rp
		}
		if try > 200 {
			panic("no clean study for " + d.name + "/" + c.name + ": " + fmt.Sprint(worst(rp.violations(), cleanMax)))
		}
	}
}

// Clean makes n studies without contradiction. Every second is complete.
func Clean(seed uint64, n int) []Study {
	var out []Study
	for i := range n {
		d := dialects[i%len(dialects)]
		c := &conditions[(i*7+i/len(dialects))%len(conditions)]
		pf := profile{complete: i/len(dialects)%2 == 0}
		if d.noText && !c.wordless() { // what the lesion asks for needs words
			pf.complete = false
		}
		if !pf.complete {
			pf.limited = i%7 == 3
		}
		rp := cleanReport(seed, i, d, c, pf)
		out = append(out, rp.study("clean"))
	}
	return out
}
