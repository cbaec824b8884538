package world

import (
	"crypto/sha256"
	"fmt"
	"math/big"
	"strings"
	"time"

	"echotally/internal/world/chance"
	"echotally/internal/world/element"
)

func containsTok(s, t string) bool {
	for _, f := range strings.Fields(s) {
		if f == t {
			return true
		}
	}
	return false
}

// uid makes a 2.25 identifier from names, stable per study.
func uid(seed uint64, names ...string) string {
	h := sha256.Sum256([]byte(fmt.Sprint(seed, names)))
	return "2.25." + new(big.Int).SetBytes(h[:15]).String()
}

// studyUID is shared by the twins of a pair only in content: each study of a
// pair gets its own identifier through the tag.
func (rp *report) files(tag string) []File {
	var out []File
	for i := range rp.head {
		out = append(out, rp.file(i, tag))
	}
	return out
}

func (rp *report) file(doc int, tag string) File {
	d := rp.d
	charset, e := d.charset, element.Encoding{Undefined: d.undef, Double: d.fd}
	e.UTF8 = charset == "ISO_IR 192"
	root := rp.tree(doc)
	ds := encodeNode(e, root)
	rp.evidence(&ds, e, root, tag)
	rp.headerOf(&ds, e, doc, tag)
	class := rp.sopOf(doc)
	u := uid(rp.seed, tag, "doc", fmt.Sprint(doc))
	return File{Name: fmt.Sprintf("%s_%d.dcm", d.name, doc+1), Data: element.Part10(e, d.ts, class, u, ds)}
}

// evidence lists the referenced images (PS3.3 C.17.2.3).
func (rp *report) evidence(ds *element.Dataset, e element.Encoding, root *node, tag string) {
	var refs []element.Dataset
	seen := map[string]bool{}
	root.walk("1", func(_ string, n *node) {
		if n.vt == "IMAGE" && !seen[n.text] {
			seen[n.text] = true
			refs = append(refs, imageRef(e, n.text))
		}
	})
	if len(refs) == 0 {
		return
	}
	var ser, st element.Dataset
	ser.Sequence(0x00081199, refs...)
	ser.Text(e, 0x0020000E, "UI", uid(rp.seed, "image series"))
	st.Sequence(0x00081115, ser)
	st.Text(e, 0x0020000D, "UI", uid(rp.seed, tag, "study"))
	ds.Sequence(0x0040A375, st)
}

func (rp *report) sopOf(doc int) string {
	if rp.d.docs == "split" && doc == 1 {
		return sopEnhanced
	}
	return rp.d.sop
}

// headerOf adds the patient, study, series, equipment and document modules.
func (rp *report) headerOf(ds *element.Dataset, e element.Encoding, doc int, tag string) {
	d, p, id := rp.d, rp.h.p, rp.head[doc]
	s := func(tag uint32, vr, v string) { ds.Text(e, tag, vr, v) }
	done := p.Study.Add(time.Duration(35+doc*25) * time.Minute)
	s(0x00080005, "CS", d.charset)
	s(0x00080012, "DA", done.Format("20060102"))
	s(0x00080013, "TM", done.Format("150405"))
	s(0x00080016, "UI", rp.sopOf(doc))
	s(0x00080018, "UI", uid(rp.seed, tag, "doc", fmt.Sprint(doc)))
	s(0x00080020, "DA", p.Study.Format("20060102"))
	s(0x00080023, "DA", rp.date)
	s(0x00080030, "TM", p.Study.Format("150405"))
	s(0x00080033, "TM", done.Format("150405"))
	s(0x00080050, "SH", fmt.Sprintf("A%07d", rp.seed%10000000))
	s(0x00080060, "CS", "SR")
	s(0x00080070, "LO", d.maker)
	s(0x00080080, "LO", "Invented Heart Laboratory")
	s(0x00080090, "PN", "")
	s(0x00080201, "SH", "+0100")
	s(0x00081030, "LO", rp.desc)
	s(0x0008103E, "LO", "Echo SR")
	s(0x00081090, "LO", d.model)
	ds.Sequence(0x00081111)
	s(0x00100010, "PN", id.name)
	s(0x00100020, "LO", id.id)
	s(0x00100030, "DA", id.birth)
	s(0x00100040, "CS", id.sex)
	rp.sizes(s, id)
	s(0x00181000, "LO", "SN-"+strings.ToUpper(d.name))
	s(0x00181020, "LO", "1.0")
	s(0x0020000D, "UI", uid(rp.seed, tag, "study"))
	s(0x0020000E, "UI", uid(rp.seed, tag, "series", fmt.Sprint(doc)))
	s(0x00200010, "SH", fmt.Sprintf("S%06d", rp.seed%1000000))
	s(0x00200011, "IS", fmt.Sprint(90+doc))
	s(0x00200013, "IS", "1")
	if d.priv != "" && d.name != "lomvist" { // often missing (pitfall 6)
		var c element.Dataset
		c.Text(e, 0x00080102, "SH", d.priv)
		c.Text(e, 0x00080115, "ST", d.maker+" measurement codes")
		ds.Sequence(0x00080110, c)
	}
	rp.documentState(ds, e, doc, tag, done)
	var tpl element.Dataset
	tpl.Text(e, 0x00080105, "CS", "DCMR")
	tpl.Text(e, 0x0040DB00, "CS", map[string]string{"simplified": "5300", "congenital": "5220"}[d.layout])
	if d.layout == "sections" || d.layout == "flat" {
		tpl = tpl[:1]
		tpl.Text(e, 0x0040DB00, "CS", "5200")
	}
	if d.name != "ispole" && d.name != "brundo" { // often missing (pitfall 8)
		ds.Sequence(0x0040A504, tpl)
	}
}

func (rp *report) sizes(s func(uint32, string, string), id identity) {
	if rp.d.name == "ungert" || rp.d.name == "pindrel" { // sizes in the content only
		return
	}
	s(0x00101010, "AS", ageString(id.age))
	s(0x00101020, "DS", metres(id.height))
	s(0x00101030, "DS", id.weight)
}

func ageString(s string) string {
	return fmt.Sprintf("%03dY", parseInt(s))
}

func metres(cm string) string {
	var f float64
	fmt.Sscan(cm, &f)
	return fmt.Sprintf("%.2f", f/100)
}

// documentState: completion, verification and the predecessor of an amended
// report (PS3.3 C.17.2).
func (rp *report) documentState(ds *element.Dataset, e element.Encoding, doc int, tag string, done time.Time) {
	s := func(tag uint32, vr, v string) { ds.Text(e, tag, vr, v) }
	completion, verified := "COMPLETE", "UNVERIFIED"
	if rp.d.docs == "prelim" {
		completion = "PARTIAL"
		if doc == 1 {
			completion, verified = "COMPLETE", "VERIFIED"
			var prev, ser, st element.Dataset
			prev.Text(e, 0x00081150, "UI", rp.sopOf(0))
			prev.Text(e, 0x00081155, "UI", uid(rp.seed, tag, "doc", "0"))
			ser.Sequence(0x00081199, prev)
			ser.Text(e, 0x0020000E, "UI", uid(rp.seed, tag, "series", "0"))
			st.Sequence(0x00081115, ser)
			st.Text(e, 0x0020000D, "UI", uid(rp.seed, tag, "study"))
			ds.Sequence(0x0040A360, st)
		}
	}
	if rp.d.docs == "split" && doc == 1 {
		verified = "VERIFIED"
	}
	if verified == "VERIFIED" {
		r := chance.New(rp.seed, "verifier")
		var v element.Dataset
		v.Text(e, 0x0040A027, "LO", "Invented Heart Laboratory")
		v.Text(e, 0x0040A030, "DT", done.Format("20060102150405"))
		v.Text(e, 0x0040A075, "PN", chance.Pick(r, famA)+chance.Pick(r, famB)+"^"+chance.Pick(r, givM))
		v.Sequence(0x0040A088)
		ds.Sequence(0x0040A073, v)
	}
	ds.Sequence(0x0040A372)
	s(0x0040A491, "CS", completion)
	s(0x0040A493, "CS", verified)
}
