package packed_test

import (
	"testing"

	"echotally/internal/echo"
	"echotally/internal/mutate"
	"echotally/internal/packed"
	"echotally/internal/packedtest"
)

func packedSeeds(t testing.TB) [][]byte {
	one := code{"1-2", "SCHEME", "A code that is referred to"}
	var study echo.Study
	packedtest.Fill(t, &study)
	kept := packed.Pack(&study, nil)
	return [][]byte{packed.Pack(&before{[]span{{1, 2}}, "name", &one, nil, -5, []code{one, one}}, nil), kept, packed.Squeeze(kept)}
}

// checkUnpack: what can be read of any bytes can be packed and read again. A study is
// read as well, from the bytes and from what they loosen to.
func checkUnpack(t *testing.T, b []byte) string {
	var study echo.Study
	loose, err := packed.Loosen(b)
	if err == nil && len(loose) > 1100*len(b)+1<<10 {
		t.Errorf("%d bytes loosened to %d", len(b), len(loose))
	}
	if err != nil {
		loose = b
	}
	if packed.Unpack(loose, &study) == nil {
		var again echo.Study
		if err := packed.Unpack(packed.Pack(&study, nil), &again); err != nil {
			t.Errorf("a study that was read cannot be packed and read again: %v", err)
		}
	}
	var v, again before
	if err := packed.Unpack(b, &v); err != nil {
		return err.Error()
	}
	if err := packed.Unpack(packed.Pack(&v, nil), &again); err != nil {
		t.Errorf("what was read cannot be packed and read again: %v", err)
	}
	return "read"
}

func FuzzUnpack(f *testing.F) {
	for _, seed := range packedSeeds(f) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkUnpack(t, b) })
}

func TestMutationsOfKeptValues(t *testing.T) {
	tokens := []string{"\xd9\x01\x00", "\xd8\x19", "\x9f", "\xbf", "\xff", "\x7f", "\x1b\xff\xff\xff\xff\xff\xff\xff\xff", "\x9b\x7f\xff\xff\xff\xff\xff\xff\xff", "\xf6", "\xf9\x7e\x00", "\xfb"}
	mutate.Run(t, mutate.Source{Seeds: packedSeeds(t), Tokens: tokens, Target: "FuzzUnpack"}, checkUnpack)
}
