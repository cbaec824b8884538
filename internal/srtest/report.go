package srtest

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/sr"
)

// Words of the report text for relationship and value types.
var (
	relationships = map[string]sr.RelationshipType{
		"contains": sr.Contains, "mod": sr.HasConceptMod, "acq": sr.HasAcqContext, "obs": sr.HasObsContext,
		"props": sr.HasProperties, "inferred": sr.InferredFrom, "selected": sr.SelectedFrom,
	}
	textElements = map[string]uint32{
		"text": 0x0040A160, "datetime": 0x0040A120, "date": 0x0040A121, "time": 0x0040A122, "uidref": 0x0040A124, "pname": 0x0040A123,
	}
)

// Document builds and parses a report written as text; see Report.
func Document(t testing.TB, text string) *sr.Document {
	t.Helper()
	doc, err := sr.Parse(&dcm.File{State: dcm.Read, Dataset: Report(t, text)})
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// Report builds a data set from a report written one content item a line,
// nested by two blanks:
//
//	header 00101010 = 067Y
//	container DCM:125200 "Adult Echocardiography Procedure Report"
//	  contains container DCM:121070 "Findings"
//	    mod code SCT:363698007 = SCT:46030003 "Tricuspid valve"
//	    contains num LN:11726-7 "Peak velocity" = 2.80 m/s
//	      inferred ref 1.1.1
//	      inferred image = 1.2.3.4 frame 7
//
// A NUM value may be empty ("= - cm"), doubled ("= 2.8\2.9 m/s"), carry a
// qualifier ("= - cm DCM:114006") and exact values ("= 2.8 m/s fd 2.79 rational
// 28/10"). A line may end in "@20260102101500", its observation time.
func Report(t testing.TB, text string) dcm.Dataset {
	t.Helper()
	d := dcm.New(
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.88.33"),
		dcm.Strings(dcm.T(0x00080018), "2.25.1"),
		dcm.Strings(dcm.T(0x0020000D), "2.25.10"),
		dcm.Strings(dcm.T(0x0020000E), "2.25.100"),
		dcm.Strings(dcm.T(0x00080060), "SR"),
		dcm.Strings(dcm.T(0x0040A491), "COMPLETE"),
		dcm.Strings(dcm.T(0x0040A493), "UNVERIFIED"),
	)
	var lines []line
	for n, raw := range strings.Split(text, "\n") {
		trimmed := strings.TrimSpace(raw)
		switch {
		case trimmed == "" || strings.HasPrefix(trimmed, "#"):
		case strings.HasPrefix(trimmed, "header "):
			e, err := header(trimmed)
			if err != nil {
				t.Fatalf("line %d: %v", n+1, err)
			}
			d.Set(e)
		default:
			depth := (len(raw) - len(strings.TrimLeft(raw, " \t"))) / 2
			lines = append(lines, line{n + 1, depth, trimmed})
		}
	}
	if len(lines) == 0 {
		t.Fatal("the report has no items")
	}
	base := lines[0].depth
	for i := range lines {
		lines[i].depth -= base
	}
	root, rest, err := item(lines)
	if err != nil {
		t.Fatal(err)
	}
	if len(rest) > 0 {
		t.Fatalf("line %d: a second root", rest[0].number)
	}
	d.Set(root.Elements...)
	if !d.Has(dcm.T(0x0040A730)) {
		d.Set(dcm.Sequence(dcm.T(0x0040A730)))
	}
	return d
}

type line struct {
	number, depth int
	text          string
}

// header reads "header 00101010 = 067Y"; an empty value is allowed.
func header(text string) (dcm.Element, error) {
	name, value, ok := strings.Cut(strings.TrimPrefix(text, "header "), "=")
	number, err := strconv.ParseUint(strings.TrimSpace(name), 16, 32)
	if !ok || err != nil {
		return dcm.Element{}, fmt.Errorf("%q is no header line", text)
	}
	if number == 0x0040A360 {
		return predecessor(strings.TrimSpace(value)), nil
	}
	return dcm.Strings(dcm.T(uint32(number)), strings.TrimSpace(value)), nil
}

// predecessor builds a Predecessor Documents Sequence for one SOP instance.
func predecessor(uid string) dcm.Element {
	return dcm.Sequence(dcm.T(0x0040A360), dcm.New(
		dcm.Strings(dcm.T(0x0020000D), "2.25.10"),
		dcm.Sequence(dcm.T(0x00081115), dcm.New(
			dcm.Strings(dcm.T(0x0020000E), "2.25.100"),
			dcm.Sequence(dcm.T(0x00081199), dcm.New(
				dcm.Strings(dcm.T(0x00081150), "1.2.840.10008.5.1.4.1.1.88.33"),
				dcm.Strings(dcm.T(0x00081155), uid)))))))
}

// item builds the first line's item with what is nested below it.
func item(lines []line) (dcm.Dataset, []line, error) {
	first := lines[0]
	d, err := content(first.text)
	if err != nil {
		return d, nil, fmt.Errorf("line %d: %w", first.number, err)
	}
	rest := lines[1:]
	var children []dcm.Dataset
	for len(rest) > 0 && rest[0].depth > first.depth {
		var child dcm.Dataset
		if child, rest, err = item(rest); err != nil {
			return d, nil, err
		}
		children = append(children, child)
	}
	if len(children) > 0 {
		d.Add(dcm.Sequence(dcm.T(0x0040A730), children...))
	}
	return d, rest, nil
}

// content builds one item without its children.
func content(text string) (dcm.Dataset, error) {
	var d dcm.Dataset
	if before, when, ok := strings.Cut(text, " @"); ok {
		text = before
		d.Add(dcm.Strings(dcm.T(0x0040A032), when))
	}
	word, rest, _ := strings.Cut(text, " ")
	if rel, ok := relationships[word]; ok {
		d.Add(dcm.Strings(dcm.T(0x0040A010), string(rel)))
		word, rest, _ = strings.Cut(rest, " ")
	}
	if word == "ref" {
		var path []int
		for step := range strings.SplitSeq(strings.TrimSpace(rest), ".") {
			n, err := strconv.Atoi(step)
			if err != nil {
				return d, fmt.Errorf("%q is no position path", rest)
			}
			path = append(path, n)
		}
		d.Add(dcm.Ints(dcm.T(0x0040DB73), path...))
		return d, nil
	}
	d.Add(dcm.Strings(dcm.T(0x0040A040), strings.ToUpper(word)))
	name, value, _ := strings.Cut(rest, " = ")
	name, value = strings.TrimPrefix(strings.TrimSpace(name), "="), strings.TrimSpace(value)
	if strings.HasPrefix(rest, "= ") {
		name, value = "", rest[2:]
	}
	if name != "" {
		d.Add(codeSequence(0x0040A043, name))
	}
	return d, stated(&d, word, value)
}

// stated adds what an item of a value type states.
func stated(d *dcm.Dataset, word, value string) error {
	if number, ok := textElements[word]; ok {
		d.Add(dcm.Strings(dcm.T(number), value))
		return nil
	}
	switch word {
	case "container":
		d.Add(dcm.Strings(dcm.T(0x0040A050), "SEPARATE"))
	case "code":
		if value != "" {
			d.Add(codeSequence(0x0040A168, value))
		}
	case "num":
		return numeric(d, value)
	case "image", "composite", "waveform":
		uid, frames, _ := strings.Cut(value, " frame ")
		ref := dcm.New(dcm.Strings(dcm.T(0x00081150), "1.2.840.10008.5.1.4.1.1.6.1"), dcm.Strings(dcm.T(0x00081155), uid))
		if frames != "" {
			ref.Add(dcm.Strings(dcm.T(0x00081160), strings.Split(frames, ",")...))
		}
		d.Add(dcm.Sequence(dcm.T(0x00081199), ref))
	case "scoord":
		d.Add(dcm.Strings(dcm.T(0x00700023), value), dcm.Floats(dcm.T(0x00700022), 1, 2))
	}
	return nil
}

// numeric builds the measured value; see Report for its parts.
func numeric(d *dcm.Dataset, value string) error {
	if value == "" {
		d.Add(dcm.Sequence(dcm.T(0x0040A300)))
		return nil
	}
	words := strings.Fields(value)
	var m dcm.Dataset
	if words[0] != "-" {
		m.Add(dcm.Strings(dcm.T(0x0040A30A), strings.Split(words[0], `\`)...))
	}
	for i := 1; i < len(words); i++ {
		w := words[i]
		switch {
		case w == "fd" && i+1 < len(words):
			f, err := strconv.ParseFloat(words[i+1], 64)
			if err != nil {
				return err
			}
			m.Add(dcm.Floats(dcm.T(0x0040A161), f))
			i++
		case w == "rational" && i+1 < len(words):
			var n, den int
			if _, err := fmt.Sscanf(words[i+1], "%d/%d", &n, &den); err != nil {
				return err
			}
			m.Add(dcm.Ints(dcm.T(0x0040A162), n), dcm.Ints(dcm.T(0x0040A163), den))
			i++
		case strings.HasPrefix(w, "DCM:"):
			d.Add(codeSequence(0x0040A301, w))
		default:
			if !strings.Contains(w, ":") {
				w = "UCUM:" + w
			}
			m.Add(codeSequence(0x004008EA, w))
		}
	}
	if words[0] == "-" && !m.Has(dcm.T(0x0040A161)) {
		d.Add(dcm.Sequence(dcm.T(0x0040A300)))
		return nil
	}
	d.Add(dcm.Sequence(dcm.T(0x0040A300), m))
	return nil
}

// codeSequence builds a code sequence from `SCHEME:value "meaning"`; without a
// meaning the value stands for it.
func codeSequence(number uint32, text string) dcm.Element {
	code, meaning, _ := strings.Cut(strings.TrimSpace(text), " ")
	scheme, value, _ := strings.Cut(code, ":")
	if meaning = strings.Trim(meaning, `"`); meaning == "" {
		meaning = value
	}
	return dcm.Sequence(dcm.T(number), dcm.New(
		dcm.Strings(dcm.T(0x00080100), value), dcm.Strings(dcm.T(0x00080102), scheme), dcm.Strings(dcm.T(0x00080104), meaning)))
}

// Reread is a report as it is read from the bytes that the program writes of it.
func Reread(t testing.TB, d dcm.Dataset) *sr.Document {
	t.Helper()
	var b bytes.Buffer
	if err := dcm.Write(&b, d); err != nil {
		t.Fatal(err)
	}
	f, err := dcm.ReadBytes(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	doc, err := sr.Parse(f)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}
