package auditwriter

import (
	"fmt"
	"io"

	"echotally/internal/audit"
	"echotally/internal/booklet/pdfpage"
)

// Audit writes one document of the set: pdf, xlsx or json.
func Audit(w io.Writer, kind string, r *audit.Report, paper pdfpage.Paper) error {
	switch kind {
	case "pdf":
		return auditPDF(w, r, chartsOf(r), paper)
	case "xlsx":
		return auditXLSX(w, r)
	case "json":
		return auditJSON(w, r)
	}
	return fmt.Errorf("an audit is not written as %s", kind)
}
