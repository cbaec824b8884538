package term

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/datafile"
	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/spelling"
)

// file is the name of the terms file in every layer.
const file = "terms.yaml"

// entry is one term as written.
type entry struct {
	Code   string   `yaml:"code"`
	Codes  []string `yaml:"codes"`
	Title  string   `yaml:"title"`
	Window string   `yaml:"window"`
	Shows  []string `yaml:"shows"`
	Wall   Wall     `yaml:"wall"`
	Beats  string   `yaml:"beats"`
	Moves  Motion   `yaml:"moves"`
	Place  int      `yaml:"place"`
	Valve  int      `yaml:"valve"`
	Study  string   `yaml:"study"`
	Region Region   `yaml:"region"`
	SeenAs []string `yaml:"seenAs"`
	Picks  string   `yaml:"picks"`

	Scores map[string]float64 `yaml:"scores"`

	Units []string `yaml:"units"`
	Step  float64  `yaml:"step"`
}

var nameForm = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// Load reads terms.yaml and abbreviations.yaml from each file system in turn
// (shipped first, then site); a layer may have none. An entry with a known name
// adds its codes. The error joins all faults.
func Load(layers ...fs.FS) (*Catalogue, error) {
	c := &Catalogue{byName: map[Field]map[string]*Term{}, byCode: map[Field]map[coding.Key]*Term{}, steps: map[string]float64{}}
	for _, f := range named() {
		c.byName[f], c.byCode[f] = map[string]*Term{}, map[coding.Key]*Term{}
	}
	var faults []error
	for _, layer := range layers {
		faults = append(faults, c.Read(layer)...)
		src, err := bound.ReadFile(layer, file)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("terms: %w", err))
			continue
		}
		l := &loading{catalogue: c, src: src, places: datafile.NewPlaces(file, src)}
		l.read()
		faults = append(faults, l.faults...)
	}
	return c, fault.Join(faults)
}

// loading is one file being read.
type loading struct {
	catalogue *Catalogue
	src       []byte
	places    *datafile.Places
	faults    []error
}

func (l *loading) fault(path, message, hint string) {
	l.faults = append(l.faults, l.places.Fault(path, message, hint))
}

func (l *loading) read() {
	var all map[Field]map[string]entry
	if err := datafile.Decode(file, l.src, &all); err != nil {
		if !errors.Is(err, datafile.ErrEmpty) {
			l.faults = append(l.faults, err)
		}
		return
	}
	fields := slices.Sorted(maps.Keys(all))
	// Views name windows, which therefore are read before them.
	slices.SortStableFunc(fields, func(a, b Field) int { return cmp.Compare(last(a == Window), last(b == Window)) })
	for _, f := range fields {
		if !slices.Contains(named(), f) {
			l.fault("$."+string(f), fmt.Sprintf("unknown modifier %s", f), l.near(f))
			continue
		}
		for _, name := range slices.Sorted(maps.Keys(all[f])) {
			l.add(f, name, all[f][name])
		}
	}
	// A mode may be seen as one that stands below it.
	for name, e := range all[ImageMode] {
		for _, other := range e.SeenAs {
			if l.catalogue.byName[ImageMode][other] == nil {
				l.fault(fmt.Sprintf("$.%s.%s.seenAs", ImageMode, name), "unknown image mode "+other, spelling.Nearest(other, l.catalogue.Names(ImageMode)))
			}
		}
	}
	slices.SortStableFunc(l.faults, fault.ByPlace)
}

func last(first bool) int {
	if first {
		return 0
	}
	return 1
}

func (l *loading) near(f Field) string {
	var names []string
	for _, known := range named() {
		names = append(names, string(known))
	}
	if n := spelling.Nearest(string(f), names); n != "" {
		return "did you mean " + n + "?"
	}
	return "one of " + strings.Join(names, ", ")
}

func (l *loading) add(f Field, name string, e entry) {
	path := fmt.Sprintf("$.%s.%s", f, name)
	if !nameForm.MatchString(name) {
		l.fault(path, fmt.Sprintf("term name %q", name), "lower case words joined by hyphens")
		return
	}
	t := l.catalogue.byName[f][name]
	isNew := t == nil
	if isNew {
		t = &Term{Name: name, Title: e.Title, Field: f}
		if e.Title == "" {
			l.fault(path, "term "+name+" has no title", "write title: what people call it")
		}
	}
	if e.Code != "" {
		e.Codes = append([]string{e.Code}, e.Codes...)
	}
	if len(e.Codes) == 0 && !f.ordered() && f != Unit {
		l.fault(path, "term "+name+" has no code", `write code: "SCHEME:value"`)
	}
	l.place(path, t, e)
	l.study(path, t, e)
	l.window(path, t, e)
	l.shows(path, t, e)
	l.wall(path, t, e)
	l.motion(path, t, e)
	l.mode(path, t, e)
	l.step(path, t, e)
	if e.Picks != "" {
		if t.Newest = true; t.Field != SelectionStatus || e.Picks != "newest" {
			l.fault(path+".picks", "only a selection status picks the newest value", "picks: newest")
		}
	}
	if e.Beats != "" {
		if t.Several = true; t.Field != Derivation || e.Beats != "several" {
			l.fault(path+".beats", "only a derivation stands for several beats", "beats: several")
		}
	}
	for _, text := range e.Codes {
		l.code(path, t, text)
	}
	if isNew {
		l.catalogue.byName[f][name] = t
	}
}

func (l *loading) window(path string, t *Term, e entry) {
	switch {
	case e.Window == "":
	case t.Field != ImageView:
		l.fault(path+".window", "only an image view has a window", "")
	case l.catalogue.byName[Window][e.Window] == nil:
		l.fault(path+".window", "unknown window "+e.Window, "one of "+strings.Join(l.catalogue.Ordered(Window), ", "))
	default:
		t.Window = e.Window
		t.How = l.catalogue.byName[Window][e.Window].How
	}
}

// place takes the place of a term in the order of its field.
func (l *loading) place(path string, t *Term, e entry) {
	place, key := e.Place, ".place"
	switch {
	case t.Field.ordered() && (e.Place <= 0 || len(e.Codes) > 0 || e.Valve != 0):
		l.fault(path, fmt.Sprintf("a %s has a place in their order from 1 on, and no code", t.Field), "place: 1 stands first")
		return
	case !t.Field.ordered() && e.Place != 0:
		l.fault(path+".place", "only windows and grades have a place", "")
		return
	case e.Valve < 0 || e.Valve > 0 && t.Field != FindingSite:
		l.fault(path+".valve", "only a finding site is a valve", "valve: its place in the order in which valves are shown, from 1 on")
		return
	case e.Valve > 0:
		place, key = e.Valve, ".valve"
	}
	if place == 0 {
		return
	}
	for _, name := range l.catalogue.Ordered(t.Field) {
		if other := l.catalogue.byName[t.Field][name]; other != t && other.Place == place {
			l.fault(path+key, fmt.Sprintf("place %d is that of %s", place, name), "")
			return
		}
	}
	t.Place = place
}

// study takes how a study is done in which there is such a view or window.
func (l *loading) study(path string, t *Term, e entry) {
	switch {
	case e.Study == "":
	case t.Field != ImageView && t.Field != Window:
		l.fault(path+".study", "only an image view or a window says how a study is done", "")
	case !nameForm.MatchString(e.Study):
		l.fault(path+".study", fmt.Sprintf("name %q", e.Study), "lower case words joined by hyphens")
	default:
		t.How = e.Study
	}
}

// mode takes where in an image a value of a mode was read, and the images that show it.
func (l *loading) mode(path string, t *Term, e entry) {
	if e.Region == "" && len(e.SeenAs) == 0 {
		return
	}
	if t.Field != ImageMode {
		l.fault(path, "only an image mode has a region of an image and is seen as another", "")
		return
	}
	if e.Region != "" && !slices.Contains([]Region{PlaneRegion, MotionRegion, SpectralRegion}, e.Region) {
		l.fault(path+".region", "unknown region "+string(e.Region), "plane, motion or spectral")
	}
	t.Region, t.SeenAs = e.Region, e.SeenAs
}

// step takes the least step at which values in a unit are read.
func (l *loading) step(path string, t *Term, e entry) {
	if t.Field != Unit {
		if e.Step != 0 || len(e.Units) > 0 {
			l.fault(path, "only a unit has units and a step", "")
		}
		return
	}
	if e.Step <= 0 || len(e.Units) == 0 || len(e.Codes) > 0 {
		l.fault(path, "a unit needs its UCUM codes and a step above 0, and takes no code of a concept", `units: ["mm[Hg]"], step: 1`)
		return
	}
	for _, code := range e.Units {
		if l.catalogue.steps[code] != 0 {
			l.fault(path+".units", code+" has its step already", "")
			continue
		}
		l.catalogue.steps[code] = e.Step
	}
}

func (l *loading) wall(path string, t *Term, e entry) {
	switch {
	case e.Wall == "":
	case t.Field != FindingSite:
		l.fault(path+".wall", "only a finding site is a part of the wall", "")
	case e.Wall != WallSegment && e.Wall != WallRegion:
		l.fault(path+".wall", "unknown part of the wall "+string(e.Wall), "segment or region")
	default:
		t.Wall = e.Wall
	}
}

// motion takes how a finding of the wall moves, and what it scores.
func (l *loading) motion(path string, t *Term, e entry) {
	if e.Moves == "" && len(e.Scores) == 0 {
		return
	}
	if t.Field != WallMotion {
		l.fault(path, "only a finding of the wall moves and scores", "")
		return
	}
	if !slices.Contains([]Motion{Unseen, Normal, Abnormal}, e.Moves) {
		l.fault(path+".moves", "unknown motion "+string(e.Moves), "unseen, normal or abnormal")
	}
	for _, scheme := range slices.Sorted(maps.Keys(e.Scores)) {
		if e.Scores[scheme] <= 0 || l.catalogue.byName[ScoringScheme][scheme] == nil {
			l.fault(path+".scores", "no score on a known scale: "+scheme, "a term of scoringScheme, and a number above nought")
		}
	}
	t.Moves, t.Scores = e.Moves, e.Scores
}

// shows takes the structures in the plane of a view. Finding sites are read
// before views, for f stands before i.
func (l *loading) shows(path string, t *Term, e entry) {
	if len(e.Shows) > 0 && t.Field != ImageView {
		l.fault(path+".shows", "only an image view shows something", "")
		return
	}
	for _, site := range e.Shows {
		if l.catalogue.byName[FindingSite][site] == nil {
			l.fault(path+".shows", "unknown finding site "+site, spelling.Nearest(site, l.catalogue.Names(FindingSite)))
			continue
		}
		t.Shows = append(t.Shows, site)
	}
}

func (l *loading) code(path string, t *Term, text string) {
	k, ok := coding.ParseKey(text)
	switch {
	case !ok:
		l.fault(path, fmt.Sprintf("%q is no code", text), `write "SCHEME:value"`)
		return
	case !k.CheckDigit():
		l.fault(path, fmt.Sprintf("%s has a wrong check digit", k), "look the code up again")
		return
	}
	if other := l.catalogue.byCode[t.Field][k]; other != nil {
		l.fault(path, fmt.Sprintf("%s already means %s", k, other.Name), "a code has one name in a field")
		return
	}
	l.catalogue.byCode[t.Field][k] = t
	t.Codes = append(t.Codes, k)
}
