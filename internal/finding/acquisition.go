package finding

import (
	"math"

	"echotally/internal/echo"
)

// Acquired is how a study was acquired, as far as the headers of its images
// tell: what was imaged from where, and how the measured spectra were set up.
type Acquired struct {
	Images   int                `cbor:"1,keyasint,omitempty"` // whose headers were read
	Unplaced int                `cbor:"2,keyasint,omitempty"` // of those, without a view whose window is known
	Windows  []AcquiredWindow   `cbor:"3,keyasint,omitempty"`
	Spectra  []AcquiredSpectrum `cbor:"4,keyasint,omitempty"` // by image
}

// AcquiredWindow is what was stored from one window on the chest.
type AcquiredWindow struct {
	Window string          `cbor:"1,keyasint,omitempty"` // a term
	Valves []AcquiredValve `cbor:"2,keyasint,omitempty"`
}

// AcquiredValve is what was stored of one valve from one window.
type AcquiredValve struct {
	Valve     string `cbor:"1,keyasint,omitempty"` // name of the finding site
	Title     string `cbor:"2,keyasint,omitempty"`
	Imaged    Seen   `cbor:"3,keyasint,omitempty"`
	Colour    Seen   `cbor:"4,keyasint,omitempty"`
	Spectrals Seen   `cbor:"5,keyasint,omitempty"`
}

// Seen says whether an image shows something.
type Seen int

// Degrees of seeing. Perhaps is an image in whose plane the valve lies, while
// its header does not say that it is of this one.
const (
	NotSeen Seen = iota
	Perhaps
	SurelySeen
)

// AcquiredSpectrum is a velocity on the scale of the spectrum it was measured
// on.
type AcquiredSpectrum struct {
	Reference Reference `cbor:"1,keyasint,omitempty"` // of the measurement
	Velocity  float64   `cbor:"2,keyasint,omitempty"` // cm/s, the highest measured on this spectrum
	Also      []string  `cbor:"3,keyasint,omitempty"` // other measurands measured on it
	Inferred  bool      `cbor:"4,keyasint,omitempty"` // the image is only likely the right one
	Why       string    `cbor:"5,keyasint,omitempty"`

	// Image and region are those of the measurement's link.
	Measurement *echo.Measurement `cbor:"-"`
	Image       *echo.Image       `cbor:"-"`
	Region      *echo.Region      `cbor:"-"`
}

// Reach is the larger end of the scale: scanners differ in the sign of
// velocities.
func (s AcquiredSpectrum) Reach() float64 {
	return max(math.Abs(s.Region.Velocities.Low), math.Abs(s.Region.Velocities.High))
}
