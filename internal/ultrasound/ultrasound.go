// Package ultrasound reads how an ultrasound image was acquired from its
// header, and ties the measurements of a study to the images they were taken
// on. It never looks at pixels, and it judges nothing.
//
// A header value that is absent, or that cannot be right, gives no number: what
// the image then cannot tell is said in its deviations.
package ultrasound

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/ultrasound/private"
)

// classes are the ultrasound storage classes, current and retired (PS3.4 B.5).
var classes = []string{
	"1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.5.1.4.1.1.3.1",
	"1.2.840.10008.5.1.4.1.1.6", "1.2.840.10008.5.1.4.1.1.3",
}

// IsImage reports whether objects of the class are ultrasound images.
func IsImage(sopClass string) bool { return slices.Contains(classes, sopClass) }

// Tags of the image, beside those of the regions (PS3.6).
var (
	tagImageType    = dcm.T(0x00080008)
	tagSOPClass     = dcm.T(0x00080016)
	tagSOPInstance  = dcm.T(0x00080018)
	tagStageName    = dcm.T(0x00082120)
	tagViewName     = dcm.T(0x00082127)
	tagViewCode     = dcm.T(0x00540220)
	tagViewModifier = dcm.T(0x00540222)
	tagHeartRate    = dcm.T(0x00181088)
	tagRows         = dcm.T(0x00280010)
	tagColumns      = dcm.T(0x00280011)
	tagPixelSpacing = dcm.T(0x00280030)
)

// reader is one header being read.
type reader struct {
	header dcm.Dataset
	image  *echo.Image
	mapped []private.Mapping
}

// Read reads the header of an ultrasound image; mapped says where private
// settings lie.
func Read(file *dcm.File, mapped ...private.Mapping) *echo.Image {
	d := file.Dataset
	r := &reader{header: d, mapped: mapped, image: &echo.Image{
		SOPInstanceUID: d.Text(tagSOPInstance), SOPClassUID: d.Text(tagSOPClass), SeriesInstanceUID: d.Text(dcm.T(0x0020000E)),
		InstanceNumber: int(r0(d.Ints(dcm.T(0x00200013)))),
		Equipment: echo.Equipment{
			Manufacturer: d.Text(dcm.T(0x00080070)), ManufacturerModelName: d.Text(dcm.T(0x00081090)),
			SoftwareVersions: d.Text(dcm.T(0x00181020)), StationName: d.Text(dcm.T(0x00081010)),
		},
		Stage: d.Text(tagStageName), Protocol: d.Text(dcm.T(0x00181030)),
		Colour: r0(d.Ints(dcm.T(0x00280014))) == 1,
		Rows:   int(r0(d.Ints(tagRows))), Columns: int(r0(d.Ints(tagColumns))), Frames: 1,
		TransducerType: d.Text(dcm.T(0x00186031)), TransducerData: strings.Join(inUse(d.Texts(dcm.T(0x00185010))), ", "),
	}}
	if n := r0(d.Ints(dcm.T(0x00280008))); n > 0 {
		r.image.Frames = int(n)
	}
	r.when()
	r.view()
	r.anatomy()
	r.timing()
	r.regions()
	r.modes()
	r.spacing()
	if d.Text(dcm.T(0x00120062)) != "YES" { // Patient Identity Removed: what is left may be made up
		r.image.Identity = echo.Identity{
			PatientName: echo.Protected(d.Text(dcm.T(0x00100010))), PatientID: echo.Protected(d.Text(dcm.T(0x00100020))),
			IssuerOfPatientID: echo.Protected(d.Text(dcm.T(0x00100021))), BirthDate: echo.Protected(d.Text(dcm.T(0x00100030))),
		}
		r.image.PatientSex = d.Text(dcm.T(0x00100040))
	}
	for _, dev := range file.Deviations {
		r.deviates(echo.HeaderBeyondReadable, 0, "%s %s (%s)", dev.TagPath, dev.Detail, dev.Clause)
	}
	return r.image
}

// r0 is the first of a list, zero when it is empty.
func r0[T any](list []T) T {
	if len(list) == 0 {
		var zero T
		return zero
	}
	return list[0]
}

// inUse drops the fillers scanners write for connectors without a probe.
func inUse(probes []string) []string {
	return slices.DeleteFunc(slices.Clone(probes), func(p string) bool { return p == "" || strings.EqualFold(p, "UNUSED") })
}

func (r *reader) deviates(problem echo.ImageProblem, region int, format string, args ...any) {
	r.image.Deviations = append(r.image.Deviations, echo.ImageDeviation{Problem: problem, Region: region, Detail: fmt.Sprintf(format, args...)})
}

// when takes the first complete time among acquisition and content.
func (r *reader) when() {
	d := r.header
	texts := []string{d.Text(dcm.T(0x0008002A))}
	for _, pair := range [][2]uint32{{0x00080022, 0x00080032}, {0x00080023, 0x00080033}} {
		if day, clock := d.Text(dcm.T(pair[0])), d.Text(dcm.T(pair[1])); day != "" && clock != "" {
			// The form with full stops and colons is that of ACR-NEMA, still met (PS3.5 6.2, notes to DA and TM).
			texts = append(texts, strings.ReplaceAll(day, ".", "")+strings.ReplaceAll(clock, ":", ""))
		}
	}
	for _, text := range texts {
		whole, _, _ := strings.Cut(text, ".")
		whole, _, _ = strings.Cut(whole, "+")
		for _, layout := range []string{"20060102150405", "200601021504"} {
			if t, err := time.Parse(layout, strings.TrimSpace(whole)); err == nil {
				r.image.Time = t
				return
			}
		}
	}
}

// view reads view code and name. Only one item is allowed (PS3.3 C.8.5.6.1.19).
func (r *reader) view() {
	views := r.header.Sequence(tagViewCode)
	name := r.header.Text(tagViewName)
	if len(views) > 1 {
		r.deviates(echo.HeaderValueUnusual, 0, "%d view codes; the first is read", len(views))
	}
	if len(views) == 0 && name == "" {
		r.deviates(echo.ViewMissing, 0, "neither a view code nor a view name")
		return
	}
	v := &echo.ImageView{Name: name}
	if len(views) > 0 {
		v.Written = concept(views[0])
		v.Concept = v.Written.Standard()
		for _, m := range views[0].Sequence(tagViewModifier) {
			v.Modifiers = append(v.Modifiers, concept(m).Standard())
		}
	}
	r.image.View = v
}

func (r *reader) anatomy() {
	for _, t := range []uint32{0x00082218, 0x00082228} {
		for _, item := range r.header.Sequence(dcm.T(t)) {
			if c := concept(item); !c.IsZero() {
				r.image.Structures = append(r.image.Structures, c.Standard())
			}
		}
	}
}

func concept(d dcm.Dataset) coding.CodedConcept {
	return coding.CodedConcept{
		CodeValue: d.Text(dcm.T(0x00080100)), CodingSchemeDesignator: d.Text(dcm.T(0x00080102)), CodeMeaning: d.Text(dcm.T(0x00080104)),
	}
}

// bits of the fourth value of Image Type (PS3.3 C.8.5.6.1.1).
var bits = []struct {
	bit  uint64
	mode echo.ImageMode
}{
	{0x0001, echo.TwoDimensional}, {0x0002, echo.MMode}, {0x0004, echo.ContinuousWave}, {0x0008, echo.PulsedWave},
	{0x0010, echo.ColourDoppler}, {0x0020, echo.MMode}, {0x0020, echo.ColourDoppler}, {0x0040, echo.ThreeDimensional}, {0x0100, echo.PowerDoppler},
}

// modes gathers what image type and regions show. A region is the closer
// witness: it says where in the image the mode is.
func (r *reader) modes() {
	show := func(m echo.ImageMode) {
		if !r.image.Is(m) {
			r.image.Modes = append(r.image.Modes, m)
		}
	}
	stated, spectral := false, false
	if kinds := r.header.Texts(tagImageType); len(kinds) > 3 {
		if map4, err := strconv.ParseUint(kinds[3], 16, 32); err == nil {
			stated = map4 != 0
			spectral = map4&0x000C != 0
			for _, b := range bits {
				if map4&b.bit != 0 {
					show(b.mode)
				}
			}
		}
	}
	for i := range r.image.Regions {
		region := &r.image.Regions[i]
		switch {
		case region.SpatialFormat == echo.FormatSpectral && region.DataType == echo.DataPulsed:
			show(echo.PulsedWave)
		case region.SpatialFormat == echo.FormatSpectral && region.DataType == echo.DataCW:
			show(echo.ContinuousWave)
		case region.SpatialFormat == echo.FormatMMode:
			show(echo.MMode)
		case region.SpatialFormat == echo.Format2D && region.DataType == echo.DataColour:
			show(echo.ColourDoppler)
		case region.SpatialFormat == echo.Format2D:
			show(echo.TwoDimensional)
		}
		if region.SpatialFormat == echo.FormatSpectral && stated && !spectral {
			r.deviates(echo.ModesContradict, i+1, "a spectrum, though the image type names no spectral Doppler")
		}
	}
	slices.Sort(r.image.Modes)
}
