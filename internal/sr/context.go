package sr

import (
	"slices"

	"echotally/internal/coding"
	"echotally/internal/dcm"
)

// Observer is who or what made an observation (PS3.16 TID 1002). Names are for
// the point of care only.
type Observer struct {
	Device       bool
	Name         string // person name (identity) or device name
	Organization string
	Role         coding.CodedConcept // role in the procedure, else in the organization
	UID          string              // of a device
	Manufacturer string
	ModelName    string
	SerialNumber string
}

// String tells a role or a device, never a person's name.
func (o Observer) String() string {
	if !o.Device {
		if o.Role.CodeMeaning != "" {
			return o.Role.CodeMeaning
		}
		return "person"
	}
	if o.Name != "" {
		return o.Name
	}
	if o.ModelName != "" {
		return o.ModelName
	}
	return "device"
}

// GoString tells no more than String.
func (o Observer) GoString() string { return o.String() }

// Context is the observation context that holds at an item (PS3.16 TID 1001).
type Context struct {
	Observers    []Observer
	SubjectClass coding.CodedConcept // 121024 DCM; zero means the patient
	Subject      []*ContentItem      // the items that describe the subject
}

// Codes of PS3.16 TID 1002 to 1008, all DCM.
var (
	observerCodes = []string{"121005", "121008", "121009", "121010", "121011", "121012", "121013", "121014", "121015", "121016", "121017", "113876", "128774", "128775"}
	subjectCodes  = []string{"121024", "121026", "121027", "121028", "121029", "121030", "121031", "121032", "121033", "121034", "121035", "121036"}
)

// deviceObserver is DCM 121007 Device of CID 270 Observer Type.
const deviceObserver = "121007"

// ContextOf tells the observation context of an item given its ancestors,
// outermost first. An item that states anything of one dimension (observer,
// subject) discards all that was inherited of this dimension (TID 1001).
func (d *Document) ContextOf(item *ContentItem, ancestors []*ContentItem) Context {
	ctx := Context{Observers: d.Authors}
	for _, level := range append(slices.Clone(ancestors), item) {
		own := level.Context()
		if len(own.Observers) > 0 {
			ctx.Observers = own.Observers
		}
		if len(own.Subject) > 0 {
			ctx.SubjectClass, ctx.Subject = own.SubjectClass, own.Subject
		}
	}
	return ctx
}

// Context returns what an item states of the observation context itself. It is not to
// be written to.
func (c *ContentItem) Context() *Context {
	if c.context == nil {
		return &noContext
	}
	return c.context
}

// noContext is what an item states that states nothing.
var noContext Context

// contextOf reads what the content items of an item state.
func contextOf(c *ContentItem) *Context {
	ctx := &Context{}
	var observers []*ContentItem
	for i := range c.ContentItems {
		child := &c.ContentItems[i]
		if child.RelationshipType != HasObsContext || child.ConceptName.CodingSchemeDesignator != "DCM" {
			continue
		}
		switch {
		case slices.Contains(observerCodes, child.ConceptName.CodeValue):
			observers = append(observers, child)
		case slices.Contains(subjectCodes, child.ConceptName.CodeValue):
			ctx.Subject = append(ctx.Subject, child)
			if child.ConceptName.CodeValue == "121024" && child.ConceptCode != nil {
				ctx.SubjectClass = *child.ConceptCode
			}
		}
	}
	ctx.Observers = readObservers(observers)
	return ctx
}

// readObservers groups the items of one level: each Observer Type begins a new
// observer; what comes before the first is a person's (TID 1002 default).
func readObservers(items []*ContentItem) []Observer {
	var out []Observer
	for _, item := range items {
		code := item.ConceptName.CodeValue
		if code == "121005" || len(out) == 0 {
			out = append(out, Observer{})
		}
		o := &out[len(out)-1]
		switch code {
		case "121005":
			o.Device = item.ConceptCode != nil && item.ConceptCode.CodeValue == deviceObserver
		case "121008", "121013":
			o.Name = item.Text
		case "121009":
			o.Organization = item.Text
		case "121011":
			if item.ConceptCode != nil {
				o.Role = *item.ConceptCode
			}
		case "121010":
			if item.ConceptCode != nil && o.Role.IsZero() {
				o.Role = *item.ConceptCode
			}
		case "121012":
			o.UID, o.Device = item.Text, true
		case "121014":
			o.Manufacturer = item.Text
		case "121015":
			o.ModelName = item.Text
		case "121016":
			o.SerialNumber = item.Text
		}
	}
	return out
}

// authors reads the default observers of the header: Author Observer Sequence,
// else Verifying Observer Sequence (TID 1001).
func authors(d dcm.Dataset) []Observer {
	var out []Observer
	for _, a := range d.Sequence(tagAuthorObserverSequence) {
		out = append(out, Observer{
			Device: a.Text(tagObserverType) == "DEV", Name: a.Text(tagPersonName),
			Manufacturer: a.Text(tagManufacturer), ModelName: a.Text(tagManufacturerModelName),
		})
	}
	if len(out) > 0 {
		return out
	}
	for _, v := range d.Sequence(tagVerifyingObserverSequence) {
		out = append(out, Observer{Name: v.Text(tagVerifyingObserverName), Organization: v.Text(tagVerifyingOrganization)})
	}
	return out
}
