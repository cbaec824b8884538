package packed

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"echotally/internal/ucum"
)

// fill gives every field below v a value of its own; slices get one element.
func fill(t *testing.T, v any) {
	t.Helper()
	n := 0
	fillValue(t, reflect.ValueOf(v).Elem(), &n)
}

func fillValue(t *testing.T, v reflect.Value, n *int) {
	t.Helper()
	*n++
	switch x := v.Addr().Interface().(type) {
	case *ucum.Quantity:
		value, err := ucum.FromFloat(float64(*n) / 3)
		if err != nil {
			t.Fatal(err)
		}
		unit, err := ucum.Parse("m/s")
		if err != nil {
			t.Fatal(err)
		}
		*x = ucum.Quantity{Value: value, Unit: unit}
		return
	case *time.Time:
		*x = time.Date(2026, 1, 1, 0, 0, *n, 5000, time.UTC)
		return
	}
	switch v.Kind() {
	case reflect.String:
		if v.Type() == protectedType {
			v.SetString("protected")
			return
		}
		v.SetString(fmt.Sprintf("text %d", *n))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(-*n))
	case reflect.Uint32:
		v.SetUint(uint64(*n))
	case reflect.Float64:
		v.SetFloat(float64(*n) / 7)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fillValue(t, v.Elem(), n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fillValue(t, v.Index(0), n)
	case reflect.Struct:
		for i := range v.NumField() {
			fillValue(t, v.Field(i), n)
		}
	default:
		t.Fatalf("no value for %s", v.Type())
	}
}
