package finding

import "echotally/internal/echo"

// Protocols says which protocols hold for the study and why.
type Protocols struct {
	Base      Chosen   `cbor:"1,keyasint,omitempty"`
	Triggered []Chosen `cbor:"2,keyasint,omitempty"`
}

// Chosen is a protocol with its reason.
type Chosen struct {
	Identifier string `cbor:"1,keyasint,omitempty"`
	Title      string `cbor:"2,keyasint,omitempty"`
	Declared   bool   `cbor:"3,keyasint,omitempty"` // stated by the record, otherwise inferred
	Reason     string `cbor:"4,keyasint,omitempty"`
}

// Several is a measurand of which the study holds more than one value.
type Several struct {
	Measurand  string      `cbor:"1,keyasint,omitempty"`
	References []Reference `cbor:"2,keyasint,omitempty"` // of the values
	Counts     Reference   `cbor:"3,keyasint,omitempty"` // of the one that counts
	Value      float64     `cbor:"4,keyasint,omitempty"` // what counts, in Unit
	Low        float64     `cbor:"5,keyasint,omitempty"` // over the individual values
	High       float64     `cbor:"6,keyasint,omitempty"`
	Unit       string      `cbor:"7,keyasint,omitempty"`
	Why        string      `cbor:"8,keyasint,omitempty"`

	Values []*echo.Measurement `cbor:"-"` // single ones, in document order: no means, no copies marked as selected
	Chosen *echo.Measurement   `cbor:"-"` // the value that counts; nil when it is a mean formed here
}
