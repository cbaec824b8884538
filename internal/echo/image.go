package echo

import (
	"time"

	"echotally/internal/coding"
)

// Image is what the header of an ultrasound image says about how it was
// acquired. Numbers that the header does not state, or not so that they can be
// relied on, are nil; Deviations say why.
type Image struct {
	SOPInstanceUID, SOPClassUID, SeriesInstanceUID string
	InstanceNumber                                 int
	Number                                         int       // in the study, by time and instance, from 1
	Time                                           time.Time // of acquisition, otherwise of content; zero when neither is stated
	Equipment                                      Equipment

	View          *ImageView
	Stage         string
	Protocol      string
	Structures    []coding.CodedConcept // anatomic region and primary anatomic structure
	Modes         []ImageMode
	Colour        bool // colour data present, as the header says
	Rows, Columns int
	Frames        int

	FrameRate *float64 // frames per second as acquired
	Duration  *float64 // s
	HeartRate *float64 // beats per minute
	Depth     *float64 // cm, of the deepest 2D region

	TransducerType string
	TransducerData string
	PixelSpacing   []float64 // mm down and across, as the header says beside the regions
	Regions        []Region
	Deviations     []ImageDeviation
}

// ImageView is where the transducer stood and how it was turned.
type ImageView struct {
	Concept   coding.CodedConcept // legacy ids mapped to SCT; zero when only the name is given
	Written   coding.CodedConcept // as in the file
	Modifiers []coding.CodedConcept
	Name      string // free text of the scanner, "" when none
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
	SpatialFormat, DataType int
	Flags                   uint32
	MinX, MinY, MaxX, MaxY  int // pixels of the image, from 0, inclusive
	ReferenceX, ReferenceY  *int
	UnitX, UnitY            int
	ValueX, ValueY          float64 // at the reference pixel
	DeltaX, DeltaY          float64

	Frequency       *float64 // kHz
	PulseRepetition *float64 // Hz
	CorrectionAngle *float64 // degrees
	SteeringAngle   *float64 // degrees

	// What follows from these; nil when the region cannot tell.
	Calibrated    bool
	Velocities    *Span    // cm/s, lowest and highest of a spectrum
	Baseline      *float64 // share of the height below the zero line, 0 to 1 when it is in the region
	Seconds       *float64 // across the region
	SweepSpeed    *float64 // mm/s, when the header says how large a pixel is
	Depth         *float64 // cm, down the region
	ColourScale   *float64 // cm/s, the highest velocity the colours show without aliasing
	ColourReckons bool     // the colour scale is reckoned from repetition and transmit frequency
	SampleDepth   *float64 // cm from the transducer to the Doppler sample

	// Settings the standard has no attribute for; known where a site says which private element holds them.
	WallFilter *float64 // Hz
	SampleGate *float64 // mm
}

// Span is a closed range.
type Span struct{ Low, High float64 }

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
	Problem ImageProblem
	Region  int // from 1; 0 for the image as such
	Detail  string
}

// Link ties a measurement to the image it was taken on.
type Link struct {
	Image    int  // index in Study.Images
	Region   int  // index in the image's regions, -1 for the whole image
	Inferred bool // not stated by the record, only likely
	Why      string
}
