package rule

import (
	"bytes"
	"cmp"
	"maps"
	"path"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"echotally/internal/datafile"
)

// Read decodes the text and gives the rules it holds: the file itself, or each
// of its rows with what it shares.
func (s *Source) Read() ([]*Source, error) {
	text := s.Text
	if s.NoExamples {
		text = datafile.Without(text, "examples")
	}
	if err := datafile.Decode(s.Path, text, &s.File); err != nil {
		return nil, err
	}
	if s.File.Rows == nil {
		s.File.finish(s.identifier())
		return []*Source{s}, nil
	}
	return s.rows()
}

// rows gives each row of the file as a rule of its own, in the folder of the
// file.
func (s *Source) rows() ([]*Source, error) {
	head := s.File
	head.Rows = nil
	if head.Identifier != "" {
		return nil, s.Fault("$.identifier", 0, "a file of rows is no rule itself", "take identifier out: each row has its own")
	}
	texts := s.rowTexts()
	used := map[string]bool{}
	var out []*Source
	for _, name := range sortedKeys(s.File.Rows) {
		row := s.File.Rows[name]
		if row == nil || row.Rows != nil {
			return nil, s.Fault("$.rows."+name, 0, "a row says what differs from the others", "")
		}
		one := &Source{Path: path.Dir(s.Path) + "/" + name + ".yaml", Text: s.Text, Site: s.Site, Linted: s.Linted, page: s.Path, row: name, own: texts[name]}
		one.File = merge(head, *row)
		one.File.finish(one.identifier())
		one.File.prune(head, *row, used)
		out = append(out, one)
	}
	for key, names := range head.names() {
		for _, name := range names {
			if !used[key+name] {
				return nil, s.Fault("$."+key+"."+name, 0, "no row uses "+name, "use it or take it out")
			}
		}
	}
	return out, nil
}

// merge is a row with what it does not say taken from the head of its file: of
// settings with parts, part by part; of names, name by name.
func merge(head, row File) File {
	f := merged(reflect.ValueOf(head), reflect.ValueOf(row)).Interface().(File)
	f.Measurands, f.Statements, f.Images = maps.Clone(f.Measurands), maps.Clone(f.Statements), maps.Clone(f.Images)
	f.Parameters, f.Define = maps.Clone(f.Parameters), maps.Clone(f.Define) // names are taken out of these
	return f
}

func merged(head, row reflect.Value) reflect.Value {
	switch {
	case row.IsZero():
		return head
	case head.IsZero():
		return row
	}
	switch row.Kind() {
	case reflect.Pointer:
		if _, whole := row.Interface().(*datafile.Range); whole {
			return row
		}
		out := reflect.New(row.Type().Elem())
		out.Elem().Set(merged(head.Elem(), row.Elem()))
		return out
	case reflect.Struct:
		if _, whole := row.Interface().(MeasurandChoice); whole {
			return row
		}
		out := reflect.New(row.Type()).Elem()
		for i := range row.NumField() {
			out.Field(i).Set(merged(head.Field(i), row.Field(i)))
		}
		return out
	case reflect.Map:
		out := reflect.MakeMap(row.Type())
		for _, from := range []reflect.Value{head, row} {
			for _, key := range from.MapKeys() {
				value := from.MapIndex(key)
				if other := head.MapIndex(key); other.IsValid() && value.Type() == reflect.TypeFor[ParameterAsWritten]() {
					value = merged(other, value)
				}
				out.SetMapIndex(key, value)
			}
		}
		return out
	}
	return row
}

// finish gives the file what is understood where it says nothing, and spells
// out its short demand. A site's change to a rule stays as it is.
func (f *File) finish(identifier string) {
	f.RelatedArtifact, f.Sources = slices.Concat(f.RelatedArtifact, f.Sources), nil
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
	for name, p := range f.Parameters {
		p.Origin, p.Unit = cmp.Or(p.Origin, f.Origin), cmp.Or(p.Unit, "1")
		f.Parameters = with(f.Parameters, name, p)
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
func plain(value datafile.Written) datafile.Written {
	if number, unit := datafile.Quantity(string(value)); unit != "" {
		return number + " " + datafile.Written(unit)
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

// names are the names a file gives, by key.
func (f *File) names() map[string][]string {
	return map[string][]string{
		"measurands": sortedKeys(f.Measurands), "statements": sortedKeys(f.Statements), "images": sortedKeys(f.Images),
		"parameters": sortedKeys(f.Parameters), "define": sortedKeys(f.Define),
	}
}

// prune takes out the names of the head that the row does not use, and notes
// those it does.
func (f *File) prune(head, row File, used map[string]bool) {
	words, own := f.words(), row.names()
	for key, names := range head.names() {
		for _, name := range names {
			if words[name] {
				used[key+name] = true
			} else if !slices.Contains(own[key], name) {
				f.drop(key, name)
			}
		}
	}
}

func (f *File) drop(key, name string) {
	switch key {
	case "measurands":
		delete(f.Measurands, name)
	case "statements":
		delete(f.Statements, name)
	case "images":
		delete(f.Images, name)
	case "parameters":
		delete(f.Parameters, name)
	case "define":
		delete(f.Define, name)
	}
}

var (
	wordForm = regexp.MustCompile(`[a-z][a-z0-9_-]*`)
	braces   = regexp.MustCompile(`\{([^}|]*)`)
)

// words are the names that the rule asks for, with those of the parts it
// defines.
func (f *File) words() map[string]bool {
	out := map[string]bool{}
	var take func(texts ...string)
	take = func(texts ...string) {
		for _, text := range texts {
			for _, word := range wordForm.FindAllString(text, -1) {
				for _, w := range append(strings.Split(word, "-"), word) { // "a-b" may be a difference or the name of a statement
					if !out[w] {
						out[w] = true
						take(f.Define[w])
					}
				}
			}
		}
	}
	take(f.Require, f.Review, f.AppliesTo.When)
	for _, m := range braces.FindAllStringSubmatch(f.Message, -1) {
		take(m[1])
	}
	take(slices.Concat(f.ExcusedBy, f.AppliesTo.Stated, f.AppliesTo.Unless)...)
	for _, s := range f.SeverityIf {
		take(s.When)
	}
	if r := f.Recompute; r != nil {
		take(r.Stated, r.Allowance)
		for _, form := range r.From {
			take(form.Value)
		}
	}
	if z := f.ZScore; z != nil {
		for _, form := range z.BodySurfaceArea {
			take(form.Value)
		}
	}
	return out
}

var rowForm = regexp.MustCompile(`^( +)["']?([a-z0-9-]+)["']?:`)

// rowTexts are the bytes of each row, with what stands before the rows, so that
// a change to one row is none to the others.
func (s *Source) rowTexts() map[string][]byte {
	out, indent, name := map[string][]byte{}, "", ""
	head, rows, _ := bytes.Cut(s.Text, []byte("\nrows:"))
	for line := range bytes.Lines(rows) {
		m := rowForm.FindSubmatch(line)
		if m != nil && indent == "" {
			indent = string(m[1])
		}
		if m != nil && string(m[1]) == indent {
			name = string(m[2])
			out[name] = bytes.Clone(head)
		}
		out[name] = append(out[name], line...)
	}
	for name := range maps.Keys(s.File.Rows) {
		if out[name] == nil {
			out[name] = s.Text // the rows stand in another form
		}
	}
	return out
}
