package echo

import (
	"slices"
	"time"

	"echotally/internal/coding"
)

// Image is what the header of an ultrasound image says about how it was
// acquired. Numbers that the header does not state, or not so that they can be
// relied on, are nil; Deviations say why.
type Image struct {
	SOPInstanceUID    string    `cbor:"1,keyasint,omitempty"`
	SOPClassUID       string    `cbor:"2,keyasint,omitempty"`
	SeriesInstanceUID string    `cbor:"3,keyasint,omitempty"`
	InstanceNumber    int       `cbor:"4,keyasint,omitempty"`
	Number            int       `cbor:"5,keyasint,omitempty"` // in the study, by time and instance, from 1
	Time              time.Time `cbor:"6,keyasint,omitempty"` // of acquisition, otherwise of content; zero when neither is stated
	Equipment         Equipment `cbor:"7,keyasint,omitempty"`

	View       *ImageView            `cbor:"8,keyasint,omitempty"`
	Stage      string                `cbor:"9,keyasint,omitempty"`
	Protocol   string                `cbor:"10,keyasint,omitempty"`
	Structures []coding.CodedConcept `cbor:"11,keyasint,omitempty"` // anatomic region and primary anatomic structure
	Modes      []ImageMode           `cbor:"12,keyasint,omitempty"`
	Colour     bool                  `cbor:"13,keyasint,omitempty"` // colour data present, as the header says
	Rows       int                   `cbor:"14,keyasint,omitempty"`
	Columns    int                   `cbor:"15,keyasint,omitempty"`
	Frames     int                   `cbor:"16,keyasint,omitempty"`

	FrameRate *float64 `cbor:"17,keyasint,omitempty"` // frames per second as acquired
	Duration  *float64 `cbor:"18,keyasint,omitempty"` // s
	HeartRate *float64 `cbor:"19,keyasint,omitempty"` // beats per minute
	Depth     *float64 `cbor:"20,keyasint,omitempty"` // cm, of the deepest 2D region

	TransducerType string           `cbor:"21,keyasint,omitempty"`
	TransducerData string           `cbor:"22,keyasint,omitempty"`
	PixelSpacing   []float64        `cbor:"23,keyasint,omitempty"` // mm down and across, as the header says beside the regions
	Regions        []Region         `cbor:"24,keyasint,omitempty"`
	Deviations     []ImageDeviation `cbor:"25,keyasint,omitempty"`

	Identity   Identity `cbor:"-"` // whose image it is, as its header says
	PatientSex string   `cbor:"26,keyasint,omitempty"`
}

// ImageView is where the transducer stood and how it was turned.
type ImageView struct {
	Concept   coding.CodedConcept   `cbor:"1,keyasint,omitempty"` // legacy ids mapped to SCT; zero when only the name is given
	Written   coding.CodedConcept   `cbor:"2,keyasint,omitempty"` // as in the file
	Modifiers []coding.CodedConcept `cbor:"3,keyasint,omitempty"`
	Name      string                `cbor:"4,keyasint,omitempty"` // free text of the scanner, "" when none
}

// ImageMode is a way of imaging that the header shows to be in the image. The
// words are the names of the terms for image modes.
type ImageMode string

// Modes an ultrasound header can show. It has no mark for tissue Doppler: that
// is pulsed wave or colour.
const (
	TwoDimensional   ImageMode = "two-dimensional"
	MMode            ImageMode = "m-mode"
	ColourDoppler    ImageMode = "colour-doppler"
	PowerDoppler     ImageMode = "power-doppler"
	PulsedWave       ImageMode = "pulsed-wave-doppler"
	ContinuousWave   ImageMode = "continuous-wave-doppler"
	ThreeDimensional ImageMode = "three-dimensional"
)

// Region is one calibrated part of an image (PS3.3 C.8.5.5).
type Region struct {
	SpatialFormat int     `cbor:"1,keyasint,omitempty"`
	DataType      int     `cbor:"2,keyasint,omitempty"`
	Flags         uint32  `cbor:"3,keyasint,omitempty"`
	MinX          int     `cbor:"4,keyasint,omitempty"` // pixels of the image, from 0, inclusive
	MinY          int     `cbor:"5,keyasint,omitempty"` // pixels of the image, from 0, inclusive
	MaxX          int     `cbor:"6,keyasint,omitempty"` // pixels of the image, from 0, inclusive
	MaxY          int     `cbor:"7,keyasint,omitempty"` // pixels of the image, from 0, inclusive
	ReferenceX    *int    `cbor:"8,keyasint,omitempty"`
	ReferenceY    *int    `cbor:"9,keyasint,omitempty"`
	UnitX         int     `cbor:"10,keyasint,omitempty"`
	UnitY         int     `cbor:"11,keyasint,omitempty"`
	ValueX        float64 `cbor:"12,keyasint,omitempty"` // at the reference pixel
	ValueY        float64 `cbor:"13,keyasint,omitempty"` // at the reference pixel
	DeltaX        float64 `cbor:"14,keyasint,omitempty"`
	DeltaY        float64 `cbor:"15,keyasint,omitempty"`

	Frequency       *float64 `cbor:"16,keyasint,omitempty"` // kHz
	PulseRepetition *float64 `cbor:"17,keyasint,omitempty"` // Hz
	CorrectionAngle *float64 `cbor:"18,keyasint,omitempty"` // degrees
	SteeringAngle   *float64 `cbor:"19,keyasint,omitempty"` // degrees

	// What follows from these; nil when the region cannot tell.
	Calibrated    bool     `cbor:"20,keyasint,omitempty"`
	Velocities    *Span    `cbor:"21,keyasint,omitempty"` // cm/s, lowest and highest of a spectrum
	Baseline      *float64 `cbor:"22,keyasint,omitempty"` // share of the height below the zero line, 0 to 1 when it is in the region
	Seconds       *float64 `cbor:"23,keyasint,omitempty"` // across the region
	SweepSpeed    *float64 `cbor:"24,keyasint,omitempty"` // mm/s, when the header says how large a pixel is
	Depth         *float64 `cbor:"25,keyasint,omitempty"` // cm, down the region
	ColourScale   *float64 `cbor:"26,keyasint,omitempty"` // cm/s, the highest velocity the colours show without aliasing
	ColourReckons bool     `cbor:"27,keyasint,omitempty"` // the colour scale is reckoned from repetition and transmit frequency
	SampleDepth   *float64 `cbor:"28,keyasint,omitempty"` // cm from the transducer to the Doppler sample

	// Settings the standard has no attribute for; known where a site says which private element holds them.
	WallFilter *float64 `cbor:"29,keyasint,omitempty"` // Hz
	SampleGate *float64 `cbor:"30,keyasint,omitempty"` // mm
}

// Span is a closed range.
type Span struct {
	Low  float64 `cbor:"1,keyasint,omitempty"`
	High float64 `cbor:"2,keyasint,omitempty"`
}

// Spatial formats of a region (PS3.3 C.8.5.5.1.1).
const (
	FormatNone     = 0
	Format2D       = 1
	FormatMMode    = 2
	FormatSpectral = 3
	FormatWaveform = 4
	FormatGraphics = 5
)

// Data types of a region that are told apart here (PS3.3 C.8.5.5.1.2).
const (
	DataTissue    = 1
	DataColour    = 2
	DataPulsed    = 3
	DataCW        = 4
	DataColourBar = 14
)

// Physical units of a region's directions that are told apart here
// (PS3.3 C.8.5.5.1.15).
const (
	UnitNone    = 0
	UnitCM      = 3
	UnitSeconds = 4
	UnitHertz   = 5
	UnitCMPerS  = 7
)

// Contains reports whether a point of the image, in pixels, lies in the region.
func (r *Region) Contains(x, y float64) bool {
	return x >= float64(r.MinX) && x < float64(r.MaxX)+1 && y >= float64(r.MinY) && y < float64(r.MaxY)+1
}

// Is reports whether the image shows a mode.
func (i *Image) Is(mode ImageMode) bool {
	for _, m := range i.Modes {
		if m == mode {
			return true
		}
	}
	return false
}

// IsAny reports whether the image shows one of the modes, by their terms.
func (i *Image) IsAny(modes []string) bool {
	return slices.ContainsFunc(modes, func(m string) bool { return i.Is(ImageMode(m)) })
}

// ImageProblem classifies what is wrong with an image's header.
type ImageProblem string

// Problems of an image header.
const (
	Uncalibrated         ImageProblem = "imageUncalibrated"         // no region, or none that gives a scale
	RegionOutside        ImageProblem = "imageRegionOutside"        // a region reaches beyond the image
	RegionsConflict      ImageProblem = "imageRegionsConflict"      // overlapping regions with different scales
	PixelSpacingDiffers  ImageProblem = "imagePixelSpacingDiffers"  // Pixel Spacing and the 2D region disagree
	UnusualDirection     ImageProblem = "imageUnusualDirection"     // a delta of unexpected sign or of zero
	AngleCorrected       ImageProblem = "imageAngleCorrected"       // a spectrum with a correction angle
	TimingMissing        ImageProblem = "imageTimingMissing"        // a loop that does not say how fast it was taken
	ViewMissing          ImageProblem = "imageViewMissing"          // neither view code nor view name
	HeaderValueUnusual   ImageProblem = "imageHeaderValueUnusual"   // a value that cannot be used as it stands
	CombinationUnusual   ImageProblem = "imageCombinationUnusual"   // format, data type and units that do not belong together
	BaselineUnknown      ImageProblem = "imageBaselineUnknown"      // a spectrum without a usable zero line
	SamplePlaceUnclear   ImageProblem = "imageSamplePlaceUnclear"   // a sample position outside every 2D region
	FrequencyScaleOnly   ImageProblem = "imageFrequencyScaleOnly"   // a spectrum in hertz
	ModesContradict      ImageProblem = "imageModesContradict"      // image type and regions name other modes
	HeaderBeyondReadable ImageProblem = "imageHeaderBeyondReadable" // the header departs from the file format
)

// ImageDeviation is a departure met while reading an image header.
type ImageDeviation struct {
	Problem ImageProblem `cbor:"1,keyasint,omitempty"`
	Region  int          `cbor:"2,keyasint,omitempty"` // from 1; 0 for the image as such
	Detail  string       `cbor:"3,keyasint,omitempty"`
}

// Link ties a measurement to the image it was taken on.
type Link struct {
	Image    int    `cbor:"1,keyasint,omitempty"` // index in Study.Images
	Region   int    `cbor:"2,keyasint,omitempty"` // index in the image's regions, -1 for the whole image
	Inferred bool   `cbor:"3,keyasint,omitempty"` // not stated by the record, only likely
	Why      string `cbor:"4,keyasint,omitempty"`
}
