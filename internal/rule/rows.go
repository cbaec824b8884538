package rule

import (
	"bytes"
	"cmp"
	"maps"
	"path"
	"reflect"
	"slices"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/datafile/written"
	"echotally/internal/finding"
)

// Read decodes the text and gives the rules it holds: the file itself, or each
// of its rows with what it shares.
func (s *Source) Read() ([]*Source, error) {
	if err := s.decode(&s.File); err != nil {
		return nil, err
	}
	s.File.named()
	if s.File.Rows == nil {
		s.File.finish(s.identifier())
		return []*Source{s}, nil
	}
	return s.rows()
}

// named gives each name that nothing is said of something that says nothing, so that it
// is told where it is compiled.
func (f *File) named() {
	something(f.Measurands)
	something(f.Parameters)
}

func something[V any](of map[string]*V) {
	for name, v := range of {
		if v == nil {
			of[name] = new(V)
		}
	}
}

// decode decodes the text of the file.
func (s *Source) decode(into any) error {
	switch {
	case s.NoExamples:
		return datafile.DecodeLinted(s.Path, s.Text, "examples", into)
	case s.Linted:
		return datafile.DecodeLinted(s.Path, s.Text, "", into)
	}
	return datafile.Decode(s.Path, s.Text, into)
}

// rows gives each row of the file as a rule of its own, in the folder of the
// file.
func (s *Source) rows() ([]*Source, error) {
	head := s.File
	head.Rows = nil
	if head.Identifier != "" {
		return nil, s.Fault("$.identifier", 0, "a file of rows is no rule itself", "take identifier out: each row has its own")
	}
	names := head.shared()
	out := make([]*Source, 0, len(s.File.Rows))
	for _, name := range sortedKeys(s.File.Rows) {
		row := s.File.Rows[name]
		if row == nil || row.Rows != nil {
			return nil, s.Fault("$.rows."+name, 0, "a row says what differs from the others", "")
		}
		row.named()
		one := &Source{Path: path.Dir(s.Path) + "/" + name + ".yaml", Text: s.Text, Site: s.Site, Linted: s.Linted, NoExamples: s.NoExamples, page: s.Path, row: name, places: s.placed()}
		one.File = merge(&head, row)
		one.File.finish(one.identifier())
		one.File.prune(names, row)
		out = append(out, one)
	}
	for _, name := range sortedKeys(names.keys) {
		if !names.used[name] {
			return nil, s.Fault("$."+names.keys[name][0]+"."+name, 0, "no row uses "+name, "use it or take it out")
		}
	}
	return out, nil
}

// merge is a row with what it does not say taken from the head of its file: of
// settings with parts, part by part; of names, name by name.
func merge(head, row *File) File {
	out := *head
	overlay(reflect.ValueOf(&out).Elem(), reflect.ValueOf(row).Elem())
	return out
}

// overlay puts what the row says over what is there. What others share is copied first.
func overlay(onto, row reflect.Value) {
	switch {
	case row.IsZero():
		return
	case onto.IsZero():
		onto.Set(row)
		return
	}
	switch row.Kind() {
	case reflect.Pointer:
		if row.Type() == reflect.TypeFor[*written.Range]() {
			break
		}
		own := reflect.New(row.Type().Elem())
		own.Elem().Set(onto.Elem())
		overlay(own.Elem(), row.Elem())
		onto.Set(own)
		return
	case reflect.Struct:
		if row.Type() == reflect.TypeFor[MeasurandChoice]() {
			break
		}
		for i := range row.NumField() {
			overlay(onto.Field(i), row.Field(i))
		}
		return
	case reflect.Map:
		overlayNames(onto, row)
		return
	}
	onto.Set(row)
}

func overlayNames(onto, row reflect.Value) {
	out := reflect.MakeMapWithSize(row.Type(), onto.Len()+row.Len())
	for at := onto.MapRange(); at.Next(); {
		out.SetMapIndex(at.Key(), at.Value())
	}
	for at := row.MapRange(); at.Next(); {
		value := at.Value()
		if other := onto.MapIndex(at.Key()); other.IsValid() && value.Type() == reflect.TypeFor[*ParameterAsWritten]() {
			both := reflect.New(value.Type()).Elem()
			both.Set(other)
			overlay(both, value)
			value = both
		}
		out.SetMapIndex(at.Key(), value)
	}
	onto.Set(out)
}

// severities are those of machines, whatever words the file is written in.
func (f *File) severities() {
	f.Severity = string(finding.SeverityOf(f.Severity))
	for i := range f.SeverityIf {
		f.SeverityIf[i].Severity = string(finding.SeverityOf(f.SeverityIf[i].Severity))
	}
	for i := range f.Examples {
		f.Examples[i].Severity = string(finding.SeverityOf(f.Examples[i].Severity))
	}
}

// finish gives the file what is understood where it says nothing, and spells
// out its short demand. A site's change to a rule stays as it is.
func (f *File) finish(identifier string) {
	f.RelatedArtifact, f.Sources = slices.Concat(f.RelatedArtifact, f.Sources), nil
	f.severities()
	if f.DerivedFrom != "" {
		return
	}
	f.Identifier, f.Status = cmp.Or(f.Identifier, identifier), cmp.Or(f.Status, "active")
	f.spell()
	if f.Name != "" {
		for _, words := range []*string{&f.Title, &f.Purpose, &f.Usage, &f.KnownLimits, &f.Message} {
			*words = strings.ReplaceAll(*words, "{name}", f.Name)
		}
	}
	if a := f.AppliesTo.Age; a != nil && a.Low == nil && a.High == nil {
		f.AppliesTo.Age = nil // a row that takes no age from its file
	}
	f.Parameters = maps.Clone(f.Parameters) // which rows may have in common, as what is in it
	for name, p := range f.Parameters {
		if p.Origin == "" || p.Unit == "" {
			own := *p
			own.Origin, own.Unit = cmp.Or(p.Origin, f.Origin), cmp.Or(p.Unit, "1")
			f.Parameters[name] = &own
		}
	}
	if len(f.Forbid) == 0 { // rules on units have examples of units nobody should write
		f.plainExamples()
	}
}

// plainExamples gives the units of the examples their codes.
func (f *File) plainExamples() {
	if b := f.Bounds(); b != nil {
		b.Ordinary, b.Slip = plain(b.Ordinary), plain(b.Slip)
	}
	if f.Computed != nil {
		plainValues(f.Computed.Fits)
		plainValues(f.Computed.Limit)
	}
	for i := range f.Examples {
		plainValues(f.Examples[i].Given)
		for name, value := range f.Examples[i].Beyond {
			f.Examples[i].Beyond[name] = plain(value)
		}
		if p := f.Examples[i].Prior; p != nil {
			plainValues(p.Given)
		}
	}
}

// plain gives the unit of a value its code.
func plain(value written.Text) written.Text {
	if number, unit := written.Quantity(string(value)); unit != "" {
		return number + " " + written.Text(unit)
	}
	return value
}

func plainValues(given map[string]GivenValues) {
	for _, values := range given {
		for i, g := range values {
			values[i].Value = plain(g.Value)
		}
	}
}

// shared are the names that stand before the rows, with the keys they stand
// under, and which of them a row uses.
type shared struct {
	keys map[string][]string
	used map[string]bool
}

func (f *File) shared() *shared {
	s := &shared{map[string][]string{}, map[string]bool{}}
	names(s, "measurands", f.Measurands)
	names(s, "statements", f.Statements)
	names(s, "images", f.Images)
	names(s, "parameters", f.Parameters)
	names(s, "define", f.Define)
	return s
}

func names[V any](s *shared, key string, of map[string]V) {
	for name := range of {
		s.keys[name] = append(s.keys[name], key)
	}
}

// prune takes out the shared names that the row does not use.
func (f *File) prune(s *shared, row *File) {
	used := map[string]bool{}
	f.eachName(func(word string) {
		if s.keys[word] != nil {
			used[word], s.used[word] = true, true
		}
	})
	f.Measurands, f.Statements = kept(s, used, f.Measurands, row.Measurands), kept(s, used, f.Statements, row.Statements)
	f.Images, f.Parameters = kept(s, used, f.Images, row.Images), kept(s, used, f.Parameters, row.Parameters)
	f.Define = kept(s, used, f.Define, row.Define)
}

// kept are the names of a row without those shared ones it neither uses nor
// gives itself.
func kept[V any](s *shared, used map[string]bool, all, own map[string]V) map[string]V {
	var out map[string]V // nil when there is none, as in a file that gives none
	for name, v := range all {
		if _, given := own[name]; !given && !used[name] && s.keys[name] != nil {
			continue
		}
		if out == nil {
			out = make(map[string]V, len(all))
		}
		out[name] = v
	}
	return out
}

// eachName calls do for each name the rule asks for.
func (f *File) eachName(do func(word string)) {
	seen := map[string]bool{}
	var expression func(text string)
	expression = func(text string) {
		eachWord(text, nil, func(word string) {
			do(word)
			if part, defined := f.Define[word]; defined && !seen[word] {
				seen[word] = true
				expression(part)
			}
		})
	}
	for _, text := range []string{f.Require, f.Review, f.AppliesTo.When} {
		expression(text)
	}
	for _, s := range f.SeverityIf {
		expression(s.When)
	}
	if r := f.Recompute; r != nil {
		do(r.Stated)
		do(r.Allowance)
		for _, form := range r.From {
			expression(form.Value)
		}
	}
	if z := f.ZScore; z != nil {
		for _, form := range z.BodySurfaceArea {
			expression(form.Value)
		}
	}
	eachInBraces(f.Message, expression)
	for _, list := range []Names{f.ExcusedBy, f.AppliesTo.Stated, f.AppliesTo.Unless} {
		for _, name := range list {
			do(name)
		}
	}
}

// rowText is what of the text makes one row: its own lines and those before the
// rows, so that a change to one row is none to the others.
func rowText(text []byte, name string) []byte {
	head, rows, _ := bytes.Cut(text, []byte("\nrows:\n"))
	indent := len(rows) - len(bytes.TrimLeft(rows, " "))
	own, inside := bytes.Clone(head), false
	for line := range bytes.Lines(rows) {
		if left := bytes.TrimLeft(line, " "); len(line)-len(left) == indent && left[0] != '#' {
			key, _, _ := bytes.Cut(left, []byte(":"))
			inside = string(bytes.Trim(key, "\"' ")) == name
		}
		if inside {
			own = append(own, line...)
		}
	}
	if len(own) == len(head) {
		return text // the rows stand in another form
	}
	return own
}
