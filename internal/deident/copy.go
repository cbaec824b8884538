package deident

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"echotally/internal/dcm"
	"echotally/internal/deident/profile"
	"echotally/internal/extract"
	"echotally/internal/identifier"
	"echotally/internal/sr"
	"echotally/internal/statement"
)

// Copier makes copies that belong together: one key gives one patient one code and
// one shift of dates, and one UID one other UID.
type Copier struct {
	mark       func(text string) string // keyed hash
	catalogues extract.Catalogues
	vocabulary *statement.Vocabulary
	table      map[dcm.Tag]profile.Action
}

// NewCopier makes a copier; mark is a keyed hash, whose key tells who holds it
// which copy is of whom.
func NewCopier(c extract.Catalogues, mark func(text string) string) *Copier {
	var titles []string
	for _, m := range c.Measurands.Measurands {
		titles = append(titles, m.Title, m.Short)
		if m.Obtain != nil {
			titles = append(titles, m.Obtain.View, m.Obtain.How, m.Obtain.Window)
		}
	}
	return &Copier{mark: mark, catalogues: c, vocabulary: c.Statements.Vocabulary(titles...), table: profile.Table()}
}

// Copy is a de-identified report.
type Copy struct {
	Bytes   []byte // a Part 10 file
	Code    string // of the patient, the same on all copies by one key
	Removed int    // attributes taken out
	Masked  int    // texts of which words were masked
	Lost    int    // statements of texts that the copy does not make
}

// one is a copy in the making.
type one struct {
	*Copier
	code  string
	shift int // days
	names map[string]bool
	out   Copy
}

// Copy makes a de-identified copy of a report. It fails when the copy, read again,
// does not give the same measurements, or still holds what identifies somebody.
func (c *Copier) Copy(f *dcm.File) (*Copy, error) {
	was, err := sr.Parse(f)
	if err != nil {
		return nil, err
	}
	if f.State != dcm.Read || len(f.Losses) > 0 {
		return nil, errors.New("the report was not read whole")
	}
	id := f.Dataset.Text(dcm.T(0x00100020))
	work := &one{Copier: c, names: map[string]bool{}}
	sum := sha256.Sum256([]byte(c.mark("patient " + id + " " + f.Dataset.Text(dcm.T(0x00100021)))))
	work.code = fmt.Sprintf("case-%x", sum[:5])
	work.shift = -1 - int(sum[8])<<4 - int(sum[9])%16 // 1 to 4,096 days back
	secrets := work.gather(f.Dataset, nil)
	d := work.dataset(f.Dataset)
	work.head(&d, f.Dataset)
	var b bytes.Buffer
	if err := dcm.Write(&b, d); err != nil {
		return nil, err
	}
	work.out.Bytes, work.out.Code = b.Bytes(), work.code
	if err := work.verify(was, secrets); err != nil {
		return nil, err
	}
	return &work.out, nil
}

// gather notes the words of names and numbers by which somebody may be known, so
// that none stays in a text, and gives those that must not be in the copy.
func (o *one) gather(d dcm.Dataset, out []string) []string {
	for i := range d.Elements {
		e := &d.Elements[i]
		switch e.VR() {
		case "SQ":
			for _, item := range d.Sequence(e.Tag) {
				out = o.gather(item, out)
			}
		case "PN":
			for _, text := range d.Texts(e.Tag) {
				out = append(out, o.note(text)...)
			}
		case "LO", "SH", "UI", "DA", "AE":
			switch o.table[e.Tag] {
			case profile.Keep, profile.CleanMeaning, profile.CleanText:
				continue
			}
			for _, text := range d.Texts(e.Tag) {
				if telling(text) && !strings.HasPrefix(text, "1.2.840.10008.") {
					out = append(out, text)
				}
			}
		}
	}
	return out
}

// note takes the words of a name; those that no report is written with must not be
// in the copy.
func (o *one) note(text string) (secret []string) {
	for _, w := range strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		o.names[statement.Fold(w)] = true
		if telling(w) && !o.vocabulary.Knows(w) {
			secret = append(secret, w)
		}
	}
	return secret
}

// telling reports whether a text is long enough to be looked for: two letters are
// found by chance anywhere.
func telling(text string) bool { return len(text) >= 5 }

// dataset gives what stays of a data set.
func (o *one) dataset(d dcm.Dataset) dcm.Dataset {
	var out dcm.Dataset
	private := strings.HasPrefix(strings.ToUpper(d.Text(dcm.T(0x00080102))), "99") || strings.EqualFold(d.Text(dcm.T(0x00080102)), "L")
	for i := range d.Elements {
		e := d.Elements[i]
		switch o.table[e.Tag] {
		case profile.Remove:
			o.out.Removed++
		case profile.Keep:
			out.Add(e)
		case profile.ReplaceUID:
			out.Add(dcm.Strings(e.Tag, o.each(d.Texts(e.Tag), o.uid)...))
		case profile.ShiftDate:
			out.Add(dcm.Strings(e.Tag, o.each(d.Texts(e.Tag), o.date)...))
		case profile.CleanText:
			out.Add(dcm.Strings(e.Tag, o.each(d.Texts(e.Tag), o.clean)...))
		case profile.CleanMeaning:
			meaning := d.Text(e.Tag)
			if private {
				meaning = cmp.Or(short(o.clean(meaning)), statement.Masked)
			}
			out.Add(dcm.Strings(e.Tag, meaning))
		case profile.Empty:
			out.Add(dcm.Strings(e.Tag))
		case profile.DummyName:
			out.Add(dcm.Strings(e.Tag, o.code))
		case profile.DummyCode:
			out.Add(dcm.Strings(e.Tag, o.code))
		case profile.RemovedPerson:
			out.Add(dcm.Strings(e.Tag, "Removed"))
		case profile.Into:
			var items []dcm.Dataset
			for _, item := range d.Sequence(e.Tag) {
				items = append(items, o.dataset(item))
			}
			out.Add(dcm.Sequence(e.Tag, items...))
		}
	}
	return out
}

// short keeps to the 64 characters of a code's meaning.
func short(text string) string {
	runes := []rune(text)
	return strings.TrimSpace(string(runes[:min(len(runes), 64)]))
}

func (o *one) each(values []string, of func(string) string) []string {
	out := make([]string, len(values))
	for i, v := range values {
		if v != "" {
			out[i] = of(v)
		}
	}
	return out
}

func (o *one) clean(text string) string {
	out := o.vocabulary.Clean(text, func(w string) bool { return o.names[w] })
	if out != text {
		o.out.Masked++
	}
	return out
}

// uid gives another UID, derived from a keyed hash of it. UIDs of the standard itself,
// such as those of coding schemes, name nobody.
func (o *one) uid(uid string) string {
	if strings.HasPrefix(uid, "1.2.840.10008.") {
		return uid
	}
	return identifier.Derive(o.mark("uid " + uid)).UID()
}

// date moves a date by the patient's days and keeps the time; what is no date goes.
func (o *one) date(text string) string {
	if len(text) < 8 {
		return ""
	}
	day, err := time.Parse("20060102", text[:8])
	if err != nil {
		return ""
	}
	return day.AddDate(0, 0, o.shift).Format("20060102") + text[8:]
}

// head adds what a copy has to say of itself, and what a report has to have.
func (o *one) head(d *dcm.Dataset, was dcm.Dataset) {
	d.Set(dcm.Strings(dcm.T(0x00120062), "YES"), dcm.Strings(dcm.T(0x00120063), "PS3.15 Annex E, attributes by list, texts by vocabulary"), dcm.Strings(dcm.T(0x00280303), "MODIFIED"))
	var codes []dcm.Dataset
	for _, c := range profile.Done {
		codes = append(codes, dcm.New(dcm.Strings(dcm.T(0x00080100), c.Value), dcm.Strings(dcm.T(0x00080102), "DCM"), dcm.Strings(dcm.T(0x00080104), c.Meaning)))
	}
	d.Set(dcm.Sequence(dcm.T(0x00120064), codes...))
	for _, t := range []uint32{0x00080050, 0x00080090, 0x00100030, 0x00200010} {
		d.Set(dcm.Strings(dcm.T(t)))
	}
	d.Set(dcm.Strings(dcm.T(0x00100010), o.code), dcm.Strings(dcm.T(0x00100020), o.code), dcm.Sequence(dcm.T(0x00081111)))
	d.Set(dcm.Strings(dcm.T(0x00101010), age(was)))
	if age(was) == "" {
		d.Remove(dcm.T(0x00101010))
	}
}

// eldest is the age from which all are one (PS3.15 says nothing; 89 years and over as
// in the safe harbour of 45 CFR 164.514(b)(2)(i)(C)).
const eldest = 90

// age is the age as stated, or from the birth date; of the eldest the lower bound.
func age(d dcm.Dataset) string {
	stated := d.Text(dcm.T(0x00101010))
	if stated == "" {
		born, err1 := time.Parse("20060102", d.Text(dcm.T(0x00100030)))
		at, err2 := time.Parse("20060102", d.Text(dcm.T(0x00080020)))
		if err1 != nil || err2 != nil || at.Before(born) {
			return ""
		}
		years := at.Year() - born.Year()
		if at.YearDay() < born.YearDay() {
			years--
		}
		stated = fmt.Sprintf("%03dY", years)
	}
	if years, err := strconv.Atoi(strings.TrimSuffix(stated, "Y")); err == nil && years > eldest {
		return fmt.Sprintf("%03dY", eldest)
	}
	return stated
}

// verify reads the copy again.
func (o *one) verify(was *sr.Document, secrets []string) error {
	file, err := dcm.ReadBytes(o.out.Bytes)
	if err != nil {
		return fmt.Errorf("the copy cannot be read again: %w", err)
	}
	is, err := sr.Parse(file)
	if err != nil {
		return fmt.Errorf("the copy cannot be read again: %w", err)
	}
	a, b := extract.Report(was, o.catalogues), extract.Report(is, o.catalogues)
	if len(a.Measurements) != len(b.Measurements) {
		return fmt.Errorf("the copy has %d measurements, the report %d", len(b.Measurements), len(a.Measurements))
	}
	for i := range a.Measurements {
		x, y := &a.Measurements[i], &b.Measurements[i]
		if x.Measurand != y.Measurand || x.ValueText != y.ValueText || x.Modifiers.Stage != nil && y.Modifiers.Stage == nil {
			return fmt.Errorf("measurement %d of the copy is not that of the report", i+1)
		}
	}
	said := map[string]int{}
	for _, s := range b.Statements {
		said[fmt.Sprint(s.Identifier, s.Negated)]++
	}
	for _, s := range a.Statements {
		key := fmt.Sprint(s.Identifier, s.Negated)
		if said[key]--; said[key] < 0 {
			o.out.Lost++
		}
	}
	lower := bytes.ToLower(o.out.Bytes)
	for _, s := range slices.Compact(slices.Sorted(slices.Values(secrets))) {
		if holds(lower, []byte(strings.ToLower(s))) {
			return errors.New("the copy would hold what identifies somebody: a name, number or UID of the report is in one of its texts or codes")
		}
	}
	return nil
}

// holds reports whether the bytes hold the text; of digits and points it must be
// whole, for longer numbers hold shorter ones by chance.
func holds(all, text []byte) bool {
	numeric := len(bytes.Trim(text, "0123456789.")) == 0
	digit := func(i int) bool { return i >= 0 && i < len(all) && bytes.IndexByte([]byte("0123456789."), all[i]) >= 0 }
	for from := 0; ; {
		i := bytes.Index(all[from:], text)
		if i < 0 {
			return false
		}
		i += from
		if !numeric || !digit(i-1) && !digit(i+len(text)) {
			return true
		}
		from = i + 1
	}
}
