package archive

import (
	"bytes"
	"io"
	"testing"
)

func TestEntryLargerThanItDeclaresIsAnError(t *testing.T) {
	r := &bounded{io.NopCloser(bytes.NewReader(make([]byte, 100))), 99}
	if _, err := io.ReadAll(r); err == nil {
		t.Error("read past the declared size")
	}
}
