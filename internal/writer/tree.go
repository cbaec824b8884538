package writer

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/layout"
	"echotally/internal/sr"
	"echotally/internal/writer/withhold"
)

// Tree writes the content tree of a report, one item per line with its
// position path, relationship, type, concept and value. Person names and the
// values of the patient's identity are withheld.
func Tree(w io.Writer, doc *sr.Document) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s\nSOP class %s\nstudy %s\n", doc.SOPInstanceUID, doc.SOPClassUID, doc.StudyInstanceUID)
	if flags := layout.NonEmpty(doc.CompletionFlag, doc.VerificationFlag, doc.PreliminaryFlag); len(flags) > 0 {
		fmt.Fprintln(b, strings.ToLower(strings.Join(flags, ", ")))
	}
	who := withhold.New(documentIdentity(doc))
	sr.Walk(&doc.ContentItem, func(item *sr.ContentItem, ancestors []*sr.ContentItem) bool {
		fmt.Fprintln(b, strings.Repeat("  ", len(ancestors))+itemLine(item, who.From))
		return true
	})
	for _, d := range doc.Deviations {
		fmt.Fprintf(b, "departure at %s: %s (%s)\n", layout.OrElse(d.Item, "header"), d.Detail, d.Clause)
	}
	for _, l := range doc.Losses {
		fmt.Fprintf(b, "lost at offset %d, %s: %s\n", l.Offset, l.TagPath, l.Reason)
	}
	return b.Flush()
}

func itemLine(item *sr.ContentItem, safe func(string) string) string {
	parts := layout.NonEmpty(item.Identifier.String(), strings.ToLower(string(item.RelationshipType)), string(item.ValueType))
	if item.Reference != nil {
		return strings.Join(append(parts, "refers to", item.Reference.String()), " ")
	}
	if !item.ConceptName.IsZero() {
		parts = append(parts, item.ConceptName.String())
	}
	if value := itemValue(item, safe); value != "" {
		parts = append(parts, "=", value)
	}
	if item.TemplateIdentifier != "" {
		parts = append(parts, "TID "+item.TemplateIdentifier)
	}
	return strings.Join(parts, " ")
}

func itemValue(item *sr.ContentItem, safe func(string) string) string {
	switch {
	case item.MeasuredValue != nil:
		return measuredValue(item.MeasuredValue)
	case item.ConceptCode != nil:
		return item.ConceptCode.String()
	case item.ValueType == sr.PNameValue:
		return withhold.Mark
	case item.Text != "":
		return strconv.Quote(safe(item.Text))
	case len(item.References) > 0:
		return item.References[0].SOPInstanceUID
	case item.GraphicType != "":
		return fmt.Sprintf("%s %v", item.GraphicType, item.GraphicData)
	}
	return ""
}

func measuredValue(m *sr.MeasuredValue) string {
	parts := []string{strconv.Quote(m.NumericValue)}
	for _, extra := range m.ExtraValues {
		parts = append(parts, strconv.Quote(extra))
	}
	for _, c := range []*coding.CodedConcept{&m.Units, m.Qualifier} {
		if c != nil && !c.IsZero() {
			parts = append(parts, c.String())
		}
	}
	return strings.Join(parts, " ")
}

func documentIdentity(doc *sr.Document) echo.Identity {
	return echo.Identity{
		PatientName: echo.Protected(doc.Patient.Name), PatientID: echo.Protected(doc.Patient.ID),
		AccessionNumber: echo.Protected(doc.Patient.AccessionNumber), BirthDate: echo.Protected(doc.Patient.BirthDate),
	}
}
