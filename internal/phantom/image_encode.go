package phantom

import (
	"fmt"
	"math"
	"time"

	"echotally/internal/dcm"
)

// rectangle is a part of an image in pixels, corners included.
type rectangle struct{ left, top, right, bottom int }

func (r rectangle) height() float64 { return float64(r.bottom - r.top) }

func (r rectangle) columns() float64 { return float64(r.right - r.left + 1) }

// The pictures are as small as their regions allow: nobody looks at them.
var (
	loopArea    = rectangle{0, 0, 31, 23}
	pictureArea = rectangle{24, 0, 71, 27}
	traceArea   = rectangle{5, 30, 90, 63}
)

const (
	loopColumns, loopRows   = 32, 24
	stillColumns, stillRows = 96, 64
	transmitted             = 2000 // kHz
	aboveBaseline           = 28   // rows of the trace on the side of the signal
)

// Object encodes an image as it lies on disk.
func (p *Picture) Object(d Dialect, c *Record, h Header, series string) Object {
	start, err := time.Parse("20060102150405", day(h.Day)+"090500")
	if err != nil {
		panic("internal error: " + err.Error())
	}
	at := start.Add(time.Duration(p.second) * time.Second)
	date, clock := at.Format("20060102"), at.Format("150405")
	number := fmt.Sprintf("%03d", h.Number)
	out := dcm.New(
		dcm.Strings(dcm.T(0x00080008), "ORIGINAL", "PRIMARY", "", fmt.Sprintf("%04X", p.modeBits())),
		dcm.Strings(tagSOPClass, p.class), dcm.Strings(TagSOPInstance, p.instance),
		dcm.Strings(dcm.T(0x00080020), date), dcm.Strings(dcm.T(0x00080030), "090000"),
		dcm.Strings(dcm.T(0x00080022), date), dcm.Strings(dcm.T(0x00080032), clock),
		dcm.Strings(dcm.T(0x00080023), date), dcm.Strings(dcm.T(0x00080033), clock),
		dcm.Strings(dcm.T(0x00080050), "DEMO-A"+number), dcm.Strings(dcm.T(0x00080060), "US"),
		dcm.Strings(dcm.T(0x00080070), d.maker), dcm.Strings(dcm.T(0x00081090), d.model), dcm.Strings(dcm.T(0x00181020), d.Software),
		dcm.Strings(dcm.T(0x00080080), "Harbourlight Echo Laboratory"), dcm.Strings(dcm.T(0x00080090)),
		dcm.Strings(dcm.T(0x00081030), "Transthoracic echocardiogram"),
		dcm.Strings(dcm.T(0x00100010), "Demo^Patient "+number), dcm.Strings(dcm.T(0x00100020), "DEMO-"+number),
		dcm.Strings(dcm.T(0x00100030)), dcm.Strings(dcm.T(0x00100040), c.Subject.Sex),
		dcm.Strings(dcm.T(0x0020000D), h.Study), dcm.Strings(dcm.T(0x0020000E), series),
		dcm.Strings(dcm.T(0x00200010), number), dcm.Ints(dcm.T(0x00200011), 2), dcm.Ints(dcm.T(0x00200013), p.number),
		dcm.Strings(dcm.T(0x00200020)),
		dcm.Strings(dcm.T(0x00186031), "SECTOR_PHASED"), dcm.Strings(dcm.T(0x00185010), "P3-1"),
		dcm.Ints(dcm.T(0x00181088), int(p.heartRate)),
		dcm.Sequence(dcm.T(0x00540220), d.spell(terms[p.stated()]).dataset()),
		dcm.Sequence(dcm.T(0x00186011), p.regions()...),
	)
	if len(p.sites) > 0 {
		var sites []dcm.Dataset
		for _, s := range p.sites {
			sites = append(sites, d.spell(terms[s]).dataset())
		}
		out.Add(dcm.Sequence(dcm.T(0x00082228), sites...))
	}
	out.Add(p.pixels()...)
	return Object{Name: fmt.Sprintf("image-%02d-%s.dcm", p.number, p.Name), Dataset: out}
}

// stated is the view in the header.
func (p *Picture) stated() term {
	if p.Shown != "" {
		return p.Shown
	}
	return p.view
}

// modeBits is the fourth value of Image Type (PS3.3 C.8.5.6.1.1).
func (p *Picture) modeBits() int {
	bits := 0x0001
	if p.colour > 0 {
		bits |= 0x0010
	}
	return bits | map[trace]int{motion: 0x0002, continuousSpectrum: 0x0004, pulsedSpectrum: 0x0008}[p.trace]
}

// pixels are blank frames with what belongs to them.
func (p *Picture) pixels() []dcm.Element {
	columns, rows, frames := stillColumns, stillRows, 1
	var more []dcm.Element
	if p.Rate > 0 {
		columns, rows = loopColumns, loopRows
		frames = int(math.Ceil(p.Rate*60/p.heartRate)) + 2 // a beat and a little
		more = append(more, dcm.Ints(dcm.T(0x00280008), frames), dcm.Strings(dcm.T(0x00181063), Decimal(1000/p.Rate, 3)),
			dcm.Private(dcm.T(0x00280009), "AT", []int{0x0018, 0x1063}))
	}
	if p.Resized {
		columns, rows = columns/2, rows/2
	}
	spacing := Decimal(10*p.scale()*p.Spacing, 5)
	return append(more,
		dcm.Ints(dcm.T(0x00280002), 1), dcm.Strings(dcm.T(0x00280004), "MONOCHROME2"),
		dcm.Ints(dcm.T(0x00280010), rows), dcm.Ints(dcm.T(0x00280011), columns), dcm.Strings(dcm.T(0x00280030), spacing, spacing),
		dcm.Ints(dcm.T(0x00280100), 8), dcm.Ints(dcm.T(0x00280101), 8), dcm.Ints(dcm.T(0x00280102), 7), dcm.Ints(dcm.T(0x00280103), 0),
		dcm.Bytes(dcm.T(0x7FE00010), make([]byte, columns*rows*frames)),
	)
}

// area is where the picture lies in the image.
func (p *Picture) area() rectangle {
	if p.Rate > 0 {
		return loopArea
	}
	return pictureArea
}

// scale is the picture's centimetres per pixel.
func (p *Picture) scale() float64 { return depthShown / p.area().height() }

// regions are the calibrated parts of the image.
func (p *Picture) regions() []dcm.Dataset {
	at := p.area()
	middle := (at.right - at.left) / 2
	out := []dcm.Dataset{region(at, 1, 1, [2]int{3, 3}, [2]int{middle, 0}, [2]float64{p.scale(), p.scale()})}
	if p.colour > 0 {
		colour := region(at, 1, 2, [2]int{3, 3}, [2]int{middle, 0}, [2]float64{p.scale(), p.scale()})
		// The Nyquist relation, with sound at 1540 m/s.
		colour.Add(dcm.Ints(dcm.T(0x00186030), transmitted), dcm.Ints(dcm.T(0x00186032), int(math.Round(p.colour*4*transmitted*1000/154000))))
		out = append(out, colour)
	}
	seconds := p.Sweep / traceArea.columns()
	switch p.trace {
	case motion:
		out = append(out, region(traceArea, 2, 1, [2]int{4, 3}, [2]int{0, 0}, [2]float64{seconds, depthShown / traceArea.height()}))
	case pulsedSpectrum, continuousSpectrum:
		kind := map[trace]int{pulsedSpectrum: 3, continuousSpectrum: 4}[p.trace]
		s := region(traceArea, 3, kind, [2]int{4, 7}, [2]int{0, p.baseline()}, [2]float64{seconds, -p.Reach / aboveBaseline})
		s.Add(dcm.Ints(dcm.T(0x00186030), transmitted), dcm.Floats(dcm.T(0x00186034), p.Angle))
		if p.Sample > 0 {
			s.Add(dcm.Ints(dcm.T(0x00186039), 0), dcm.Ints(dcm.T(0x0018603B), int(math.Round(p.Sample/p.scale()))))
		}
		out = append(out, s)
	}
	return out
}

// baseline is the row of zero in the trace.
func (p *Picture) baseline() int {
	if p.away {
		return int(traceArea.height()) - aboveBaseline
	}
	return aboveBaseline
}

// point is where a velocity lies on the spectrum, at its edge when it reaches
// beyond.
func (p *Picture) point(velocity float64) []float64 {
	up := velocity / p.Reach * aboveBaseline
	if p.away {
		up = -up
	}
	row := float64(traceArea.top+p.baseline()) - up
	return []float64{float64(traceArea.left+traceArea.right) / 2, min(max(row, float64(traceArea.top)), float64(traceArea.bottom))}
}

// region encodes one region (PS3.3 C.8.5.5).
func region(at rectangle, format, kind int, units, reference [2]int, delta [2]float64) dcm.Dataset {
	return dcm.New(
		dcm.Ints(dcm.T(0x00186012), format), dcm.Ints(dcm.T(0x00186014), kind), dcm.Ints(dcm.T(0x00186016), 0),
		dcm.Ints(dcm.T(0x00186018), at.left), dcm.Ints(dcm.T(0x0018601A), at.top),
		dcm.Ints(dcm.T(0x0018601C), at.right), dcm.Ints(dcm.T(0x0018601E), at.bottom),
		dcm.Ints(dcm.T(0x00186020), reference[0]), dcm.Ints(dcm.T(0x00186022), reference[1]),
		dcm.Ints(dcm.T(0x00186024), units[0]), dcm.Ints(dcm.T(0x00186026), units[1]),
		dcm.Floats(dcm.T(0x0018602C), delta[0]), dcm.Floats(dcm.T(0x0018602E), delta[1]),
	)
}
