package packed_test

import (
	"bytes"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/fxamacker/cbor/v2"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"echotally/internal/echo"
	"echotally/internal/packed"
	"echotally/internal/packedtest"
	"echotally/internal/ucum"
)

// TestEveryFieldIsPacked fills every field of a study and packs it.
func TestEveryFieldIsPacked(t *testing.T) {
	var in, out echo.Study
	packedtest.Fill(t, &in)
	kept := packed.Pack(&in, nil)
	if err := packed.Unpack(kept, &out); err != nil {
		t.Fatal(err)
	}
	// Protected texts are left behind on purpose.
	protected := cmp.FilterValues(func(a, b echo.Protected) bool { return true }, cmp.Ignore())
	quantity := cmp.Comparer(func(a, b ucum.Quantity) bool {
		return a.Value.Exact() == b.Value.Exact() && a.Unit.Code() == b.Unit.Code()
	})
	if diff := cmp.Diff(in, out, protected, quantity, cmpopts.EquateEmpty()); diff != "" {
		t.Error(diff)
	}
	if bytes.Contains(kept, []byte("protected")) {
		t.Error("a protected text was packed")
	}
	if !bytes.Equal(kept, packed.Pack(&in, nil)) {
		t.Error("the same value is packed in two ways")
	}
	// Another reader of CBOR finds the same items under the same numbers.
	var plain any
	if err := cbor.Unmarshal(kept, &plain); err != nil {
		t.Fatalf("not well-formed CBOR: %v", err)
	}
	top, ok := plain.(cbor.Tag)
	if !ok || top.Number != 256 {
		t.Fatalf("%T", plain)
	}
	study, ok := top.Content.([]any)[2].(map[any]any)
	if !ok || study[uint64(1)] != in.StudyInstanceUID || study[uint64(2)] != in.StudyDate || len(study[uint64(5)].([]any)) != 1 {
		t.Errorf("read otherwise: %v", study)
	}
}

type span struct {
	Low  float64 `cbor:"1,keyasint,omitempty"`
	High float64 `cbor:"2,keyasint,omitempty"`
}

type code struct {
	Value  string `cbor:"1,keyasint,omitempty"`
	Scheme string `cbor:"2,keyasint,omitempty"`
	Words  string `cbor:"3,keyasint,omitempty"`
}

type before struct {
	Gone  []span         `cbor:"1,keyasint,omitempty"`
	Name  string         `cbor:"2,keyasint,omitempty"`
	Also  *code          `cbor:"3,keyasint,omitempty"`
	Which *ucum.Quantity `cbor:"4,keyasint,omitempty"`
	Kept  int            `cbor:"5,keyasint,omitempty"`
	Codes []code         `cbor:"6,keyasint,omitempty"`
}

// after has lost fields, renamed one, got one, and stands in another order.
type after struct {
	New     string `cbor:"7,keyasint,omitempty"`
	Codes   []code `cbor:"6,keyasint,omitempty"`
	Kept    int    `cbor:"5,keyasint,omitempty"`
	Renamed string `cbor:"2,keyasint,omitempty"`
}

func TestNumbersNotNamesAreKept(t *testing.T) {
	one := code{"1-2", "SCHEME", "A code that is referred to"}
	q := ucum.Quantity{}
	kept := packed.Pack(&before{[]span{{1, 2}}, "name", &one, &q, -5, []code{one, one, {"3", "SCHEME", ""}}}, nil)
	var got after
	want := after{Kept: -5, Renamed: "name", Codes: []code{one, one, {"3", "SCHEME", ""}}}
	if err := packed.Unpack(kept, &got); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v", got, err)
	}
	for n := range kept {
		if err := packed.Unpack(kept[:n], &after{}); !errors.Is(err, packed.ErrDamaged) {
			t.Errorf("cut off after %d bytes: %v", n, err)
		}
	}
	for n := range kept {
		for bit := range 8 {
			damaged := bytes.Clone(kept)
			damaged[n] ^= 1 << bit
			_ = packed.Unpack(damaged, &after{}) // must not panic
			_ = packed.Unpack(damaged, &before{})
		}
	}
}

func TestWhatRecursIsPackedOnce(t *testing.T) {
	type reading struct {
		Code  code    `cbor:"1,keyasint,omitempty"`
		Value string  `cbor:"2,keyasint,omitempty"`
		Which *code   `cbor:"3,keyasint,omitempty"`
		Also  *detail `cbor:"4,keyasint,omitempty"`
	}
	type report struct {
		Readings []reading `cbor:"1,keyasint,omitempty"`
		Name     string    `cbor:"2,keyasint,omitempty"`
	}
	f := packed.Form{Texts: packed.NewTexts([]string{"a text both sides know"}), Apart: map[reflect.Type][]int{reflect.TypeFor[reading](): {2}}}
	one := code{"1-2", "SCHEME", "A code that is referred to"}
	in := report{[]reading{{one, "1", &one, nil}, {one, "2", &one, nil}, {one, "", nil, &detail{"x"}}}, "a text both sides know"}
	kept, parts := f.Pack(&in, nil)
	if len(parts) != 2 || bytes.Contains(kept, []byte("referred")) || bytes.Contains(kept, []byte("both")) {
		t.Errorf("%d parts, %q", len(parts), kept)
	}
	held := map[string][]byte{}
	for _, p := range parts {
		held[p.Name] = p.Packed
	}
	lost := errors.New("no such part")
	fetch := func(name string) ([]byte, error) {
		if held[name] == nil {
			return nil, lost
		}
		return held[name], nil
	}
	all := packed.NewParts(fetch)
	for range 2 {
		var out report
		if err := f.Unpack(kept, &out, all); err != nil || !reflect.DeepEqual(in, out) {
			t.Errorf("%+v, %v", out, err)
		}
	}
	over := report{make([]reading, 5), "old"}
	for i := range over.Readings {
		over.Readings[i] = reading{code{"9", "9", "9"}, "9", &one, &detail{"9"}}
	}
	if err := f.UnpackOver(kept, &over, all, nil); err != nil || !reflect.DeepEqual(in, over) {
		t.Errorf("in the place of another: %+v, %v", over, err)
	}
	if names, err := packed.Names(kept); err != nil || len(names) != 2 || names[0] != parts[0].Name {
		t.Errorf("%q, %v", names, err)
	}
	held[parts[0].Name] = parts[1].Packed
	if err := f.Unpack(kept, &report{}, packed.NewParts(fetch)); !errors.Is(err, packed.ErrDamaged) {
		t.Errorf("another part under the name: %v", err)
	}
	delete(held, parts[0].Name)
	if err := f.Unpack(kept, &report{}, packed.NewParts(fetch)); !errors.Is(err, lost) {
		t.Errorf("a part that is gone: %v", err)
	}
}

type detail struct {
	Name string `cbor:"1,keyasint,omitempty"`
}

// TestSomeOfAListAreRead leaves elements out of a list, among them the first that holds
// what later ones refer to.
func TestSomeOfAListAreRead(t *testing.T) {
	type reading struct {
		Code  code   `cbor:"1,keyasint,omitempty"`
		Value string `cbor:"2,keyasint,omitempty"`
		Which *code  `cbor:"3,keyasint,omitempty"`
	}
	type report struct {
		Readings []reading `cbor:"1,keyasint,omitempty"`
		Names    []string  `cbor:"2,keyasint,omitempty"`
		Codes    []code    `cbor:"3,keyasint,omitempty"`
	}
	f := packed.Form{Apart: map[reflect.Type][]int{reflect.TypeFor[reading](): {2, 3}}}
	one, other := code{"1-2", "SCHEME", "A code that is referred to"}, code{"2-1", "SCHEME", "Another one"}
	in := report{
		Readings: []reading{{one, "first value", &one}, {other, "second value", &one}, {one, "first value", &other}, {other, "first value", &other}},
		Names:    []string{"second value", "first value"}, Codes: []code{one, other},
	}
	kept, parts := f.Pack(&in, nil)
	held := map[string][]byte{}
	for _, p := range parts {
		held[p.Name] = p.Packed
	}
	all := packed.NewParts(func(name string) ([]byte, error) { return held[name], nil })
	for _, wanted := range []code{one, other, {}} {
		out, want := report{}, in
		want.Readings = slices.DeleteFunc(slices.Clone(in.Readings), func(r reading) bool { return r.Code != wanted })
		err := f.UnpackOver(kept, &out, all, packed.NewWanted(func(part any) bool { return part.(*reading).Code == wanted }))
		if diff := cmp.Diff(want, out, cmpopts.EquateEmpty()); err != nil || diff != "" {
			t.Errorf("%v: %v\n%s", wanted, err, diff)
		}
	}
}

func TestAFieldWithoutANumberIsRefused(t *testing.T) {
	for want, v := range map[string]any{
		"has no number": &struct{ Name string }{"x"},
		"twice": &struct {
			A string `cbor:"1,keyasint,omitempty"`
			B string `cbor:"1,keyasint,omitempty"`
		}{"a", "b"},
		"names a person": &struct {
			Who echo.Protected `cbor:"1,keyasint,omitempty"`
		}{"x"},
	} {
		func() {
			defer func() {
				if r := recover(); r == nil || !strings.Contains(r.(string), want) {
					t.Errorf("%s: %v", want, r)
				}
			}()
			packed.Pack(v, nil)
		}()
	}
}

func TestSqueezing(t *testing.T) {
	text := bytes.Repeat([]byte("the same again "), 100)
	squeezed := packed.Squeeze(text)
	if loose, err := packed.Loosen(squeezed); err != nil || !bytes.Equal(loose, text) || len(squeezed) > len(text)/5 {
		t.Errorf("%d bytes became %d, %v", len(text), len(squeezed), err)
	}
	for n := range squeezed {
		if _, err := packed.Loosen(squeezed[:n]); err == nil {
			t.Errorf("cut off after %d bytes: no error", n)
		}
	}
}
