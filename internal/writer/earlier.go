package writer

import (
	"bytes"
	"strings"

	"echotally/internal/layout"
)

// IsGapSheet reports whether what begins so is a gap sheet of this program in the
// format. An output may take the place of such a file and of no other.
func IsGapSheet(f layout.Format, head []byte) bool {
	switch f {
	case layout.JSON:
		return isRunRecord(head, `{"schemaVersion":"`)
	case layout.NDJSON:
		return isRunRecord(head, `{"record":"run","schemaVersion":"`)
	case layout.CSV:
		return hasColumns(head, checkColumns)
	case layout.HTML:
		return layout.IsPage(head, gapSheetMark)
	}
	return beginsWith(head, strings.Repeat("=", layout.Width)+"\n"+gapSheetTitle, nothing)
}

// IsMeasurements reports whether what begins so is a measurement list of this
// program in the format.
func IsMeasurements(f layout.Format, head []byte) bool {
	switch f {
	case layout.JSON:
		return isRunRecord(head, `{"schemaVersion":"`)
	case layout.NDJSON:
		return beginsWith(head, `{"schemaVersion":"`) && bytes.Contains(head, []byte(`"studyInstanceUID":"`))
	case layout.CSV:
		return hasColumns(head, measurementColumns)
	case layout.HTML:
		return layout.IsPage(head, measurementsMark)
	}
	return beginsWith(head, measurementsTitle, nothing)
}

// What a document is begun with, by which it is known again.
const (
	gapSheetTitle     = "ECHO GAP SHEET  "
	measurementsTitle = "MEASUREMENTS  "
	gapSheetMark      = "gap sheet"
	measurementsMark  = "measurements"
)

func isRunRecord(head []byte, begin string) bool {
	return beginsWith(head, begin) && bytes.Contains(head, []byte(`"caution":"`+layout.Caution+`"`))
}

// hasColumns looks at the first columns only: later releases add some at the end.
func hasColumns(head []byte, columns []string) bool {
	const first = 10
	return beginsWith(head, strings.Join(columns[:first], ",")+",")
}

func beginsWith(head []byte, any ...string) bool {
	for _, text := range any {
		if bytes.HasPrefix(head, []byte(text)) {
			return true
		}
	}
	return false
}
