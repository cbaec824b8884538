// Package packedtest is test support for what is kept packed: values filled in
// every field, written down line by line, and the list of the numbers of fields
// that have ever been given.
package packedtest

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"echotally/internal/echo"
	"echotally/internal/packed"
	"echotally/internal/ucum"
)

// Fill gives every field below v, a pointer, a value of its own; slices get one
// element.
func Fill(t testing.TB, v any) {
	t.Helper()
	n := 0
	fill(t, reflect.ValueOf(v).Elem(), &n)
}

func fill(t testing.TB, v reflect.Value, n *int) {
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
	case *echo.Protected:
		*x = "protected"
		return
	}
	switch v.Kind() {
	case reflect.String:
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
		fill(t, v.Elem(), n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fill(t, v.Index(0), n)
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).Tag.Get("cbor") != "-" || v.Type().Field(i).Type == reflect.TypeFor[echo.Protected]() {
				fill(t, v.Field(i), n)
			}
		}
	default:
		t.Fatalf("no value for %s", v.Type())
	}
}

// Lines writes a value down, a line for each field that is packed, sorted. Name
// names the field of a type with a number, "" for one that is to be left out; nil
// names it by its number.
func Lines(v any, name func(t reflect.Type, number int) string) []string {
	if name == nil {
		name = func(_ reflect.Type, number int) string { return fmt.Sprint(number) }
	}
	var out []string
	var visit func(v reflect.Value, path string)
	visit = func(v reflect.Value, path string) {
		switch x := v.Interface().(type) {
		case ucum.Quantity:
			out = append(out, path+"\t"+x.Value.Exact()+" "+x.Unit.Code())
			return
		case time.Time:
			out = append(out, path+"\t"+x.Format(time.RFC3339Nano))
			return
		}
		switch v.Kind() {
		case reflect.Pointer:
			if !v.IsNil() {
				visit(v.Elem(), path)
			}
		case reflect.Slice:
			for i := range v.Len() {
				visit(v.Index(i), fmt.Sprintf("%s[%d]", path, i))
			}
		case reflect.Struct:
			for _, f := range packed.Fields(v.Type()) {
				if f.Type != v.Type().String() {
					continue
				}
				if called := name(v.Type(), f.Number); called != "" {
					visit(v.Field(packed.Index(v.Type(), f.Number)), strings.TrimPrefix(path+"."+called, "."))
				}
			}
		default:
			out = append(out, fmt.Sprintf("%s\t%v", path, v.Interface()))
		}
	}
	visit(reflect.ValueOf(v).Elem(), "")
	slices.Sort(out)
	return out
}

// gone marks in the list of numbers a field that is no more.
const gone = "gone"

// HoldNumbers holds the numbers of the fields of the types, and of all types
// within them, against the list in a file. A number is given once: what is kept in
// ledgers names fields by it. With update, new fields are added to the list and
// those that are no more are marked; nothing is ever taken out of it.
func HoldNumbers(t *testing.T, file string, update bool, types ...reflect.Type) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	const help = "A field that was only renamed keeps its number: change its name in %s by hand, nothing else. " +
		"A field that means something else gets a number that no line of the file has."
	now := map[string]string{}
	for _, f := range packed.Fields(types...) {
		now[fmt.Sprintf("%s %d", f.Type, f.Number)] = f.Name + " " + f.Of
	}
	var list []string
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSuffix(line, "\n")
		list = append(list, line)
		owner, rest, _ := strings.Cut(line, " ")
		number, was, _ := strings.Cut(rest, " ")
		key := owner + " " + number
		is, there := now[key]
		delete(now, key)
		switch {
		case there && is == was:
		case there:
			t.Errorf("%s number %s was %q and is %q. "+help, owner, number, was, is, file)
		case strings.HasPrefix(was, gone+" "):
		case update:
			list[len(list)-1] = key + " " + gone + " " + was
		default:
			t.Errorf("%s number %s (%s) is no more. "+help+" For a field that is gone, run the test with -update: its number is never given again.", owner, number, was, file)
		}
	}
	for key, is := range now {
		if list = append(list, key+" "+is); !update {
			t.Errorf("%s %s is not in %s; run the test with -update", key, is, file)
		}
	}
	if update && !t.Failed() {
		slices.Sort(list)
		if err := os.WriteFile(file, []byte(strings.Join(list, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
