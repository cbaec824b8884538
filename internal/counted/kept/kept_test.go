package kept

import (
	"flag"
	"reflect"
	"testing"

	"echotally/internal/packedtest"
)

var update = flag.Bool("update", false, "add new numbers of fields to the list")

// TestNumbersAreGivenOnce holds the numbers of what is counted against the list.
func TestNumbersAreGivenOnce(t *testing.T) {
	packedtest.HoldNumbers(t, "testdata/fields.txt", *update, reflect.TypeFor[study]())
}
