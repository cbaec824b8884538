// Package extract turns structured reports into an echo study: every NUM item
// becomes a measurement with its effective modifiers and its place, every code
// and text a statement if the phrase files know it. It does not judge.
package extract

import (
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/sr"
	"echotally/internal/statement"
)

// Catalogues are the data files extraction needs.
type Catalogues struct {
	Measurands *measurand.Catalogue
	Statements *statement.Catalogue
}

// Study builds one study from its documents (all of the same Study Instance
// UID). Documents are ordered by content time; those named as predecessors or
// replaced by a later complete report of the same series are superseded, and
// their measurements marked.
func Study(docs []*sr.Document, c Catalogues) *echo.Study { return nil }

// Measurements lists every NUM item of one document in document order.
func Measurements(doc *sr.Document, c Catalogues) []echo.Measurement { return nil }
