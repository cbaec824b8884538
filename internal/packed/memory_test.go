package packed

import (
	"math"
	"reflect"
	"testing"
	"time"
	"unsafe"

	"echotally/internal/echo"
	"echotally/internal/ucum"
)

// TestHoldsAsReflectionSays holds what is told of fields from memory against what
// reflection tells of them.
func TestHoldsAsReflectionSays(t *testing.T) {
	type inner struct {
		Words []string `cbor:"1,keyasint,omitempty"`
		Of    *inner   `cbor:"2,keyasint,omitempty"`
		Left  int      `cbor:"-"`
	}
	type outer struct {
		Text     string         `cbor:"1,keyasint,omitempty"`
		Role     echo.Role      `cbor:"2,keyasint,omitempty"`
		Truth    bool           `cbor:"3,keyasint,omitempty"`
		Int      int            `cbor:"4,keyasint,omitempty"`
		Long     int64          `cbor:"5,keyasint,omitempty"`
		Byte     uint8          `cbor:"6,keyasint,omitempty"`
		Word     uint32         `cbor:"7,keyasint,omitempty"`
		Large    uint64         `cbor:"8,keyasint,omitempty"`
		Float    float64        `cbor:"9,keyasint,omitempty"`
		List     []inner        `cbor:"10,keyasint,omitempty"`
		Inner    inner          `cbor:"11,keyasint,omitempty"`
		Led      *inner         `cbor:"12,keyasint,omitempty"`
		Time     time.Time      `cbor:"13,keyasint,omitempty"`
		Quantity ucum.Quantity  `cbor:"14,keyasint,omitempty"`
		Also     *ucum.Quantity `cbor:"15,keyasint,omitempty"`
	}
	tenth, err := ucum.ParseExact("0.1")
	if err != nil {
		t.Fatal(err)
	}
	full := outer{"a", "b", true, -1, 1 << 40, 1, 1 << 24, 1 << 56, math.SmallestNonzeroFloat64, []inner{{}}, inner{Of: &inner{}}, &inner{},
		time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), ucum.Quantity{Value: tenth}, &ucum.Quantity{}}
	held, empty := 0, 0
	for _, v := range []outer{{}, full, {Float: math.Copysign(0, -1)}, {List: []inner{}}, {Inner: inner{Words: []string{}}}, {Inner: inner{Left: 1}}, {Text: full.Text[:0]}, {Long: 1 << 63 >> 1}} {
		is := reflect.ValueOf(&v).Elem()
		for _, f := range shapeOf(is.Type()).fields {
			field := is.Field(f.index)
			want := !field.IsZero() && (field.Kind() != reflect.Slice || field.Len() > 0)
			if got := f.of.holds(unsafe.Add(unsafe.Pointer(&v), f.offset)); got != want {
				t.Errorf("%s of %+v: %v, by reflection %v", f.name, v, got, want)
			}
			if want {
				held++
			} else {
				empty++
			}
		}
	}
	if held < 15 || empty < 15 {
		t.Errorf("%d fields held something, %d nothing: the test shows little", held, empty)
	}
}
