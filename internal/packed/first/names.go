package first

import (
	"reflect"

	"echotally/internal/coding"
	"echotally/internal/echo"
)

// Name is what version 1 called the field of a struct that has a number now, "" where
// it had none.
func Name(of reflect.Type, number int) string {
	for was, now := range fieldNames[of] {
		if now == number {
			return was
		}
	}
	return ""
}

// fieldNames says what the names in values that version 1 packed mean: the number
// the field has now. The names are what they were then, whatever the fields are
// called today; a name that is not here was of a field that is gone.
var fieldNames = map[reflect.Type]map[string]int{
	reflect.TypeFor[coding.CodedConcept](): {
		"CodeValue": 1, "CodingSchemeDesignator": 2, "CodingSchemeVersion": 3, "CodeMeaning": 4,
	},
	reflect.TypeFor[echo.Coded](): {
		"Name": 1, "Value": 2,
	},
	reflect.TypeFor[echo.Deviation](): {
		"Item": 1, "Clause": 2, "Detail": 3,
	},
	reflect.TypeFor[echo.Document](): {
		"SOPInstanceUID": 1, "SOPClassUID": 2, "SeriesInstanceUID": 3, "TemplateIdentifier": 4, "CompletionFlag": 5, "VerificationFlag": 6,
		"ContentTime": 7, "Equipment": 8, "SupersededBy": 9, "SupersededReason": 10, "Partial": 11, "Deviations": 12, "Observers": 13, "Title": 14,
		"Preliminary": 15, "Predecessors": 16, "Staff": 17,
	},
	reflect.TypeFor[echo.Equipment](): {
		"Manufacturer": 1, "ManufacturerModelName": 2, "SoftwareVersions": 3, "StationName": 4,
	},
	reflect.TypeFor[echo.Image](): {
		"SOPInstanceUID": 1, "SOPClassUID": 2, "SeriesInstanceUID": 3, "InstanceNumber": 4, "Number": 5, "Time": 6, "Equipment": 7, "View": 8, "Stage": 9,
		"Protocol": 10, "Structures": 11, "Modes": 12, "Colour": 13, "Rows": 14, "Columns": 15, "Frames": 16, "FrameRate": 17, "Duration": 18,
		"HeartRate": 19, "Depth": 20, "TransducerType": 21, "TransducerData": 22, "PixelSpacing": 23, "Regions": 24, "Deviations": 25,
	},
	reflect.TypeFor[echo.ImageDeviation](): {
		"Problem": 1, "Region": 2, "Detail": 3,
	},
	reflect.TypeFor[echo.ImageReference](): {
		"SOPInstanceUID": 1, "Frames": 2, "GraphicType": 3, "GraphicData": 4,
	},
	reflect.TypeFor[echo.ImageView](): {
		"Concept": 1, "Written": 2, "Modifiers": 3, "Name": 4,
	},
	reflect.TypeFor[echo.Link](): {
		"Image": 1, "Region": 2, "Inferred": 3, "Why": 4,
	},
	reflect.TypeFor[echo.Measurement](): {
		"Measurand": 1, "ConceptName": 2, "Modifiers": 3, "Other": 4, "ValueText": 5, "Unit": 6, "Qualifier": 7, "Quantity": 8, "Canonical": 9,
		"ReferenceAuthority": 10, "ShortLabel": 11, "EquivalentMeaning": 12, "ObservationDateTime": 13, "Role": 14, "Parent": 15, "DuplicateOf": 16,
		"TrackingUID": 17, "Group": 18, "Section": 19, "SectionSite": 20, "AdHoc": 21, "Fetus": 22, "Equipment": 23, "Superseded": 24, "Images": 25,
		"Link": 26, "Problems": 27, "Source": 28,
	},
	reflect.TypeFor[echo.Modifier](): {
		"Concept": 1, "Written": 2, "Level": 3,
	},
	reflect.TypeFor[echo.Modifiers](): {
		"FindingSite": 1, "TopographicalModifier": 2, "Laterality": 3, "ImageMode": 4, "ImageView": 5, "FlowDirection": 6, "MeasurementMethod": 7,
		"CardiacCyclePoint": 8, "RespiratoryCyclePoint": 9, "Derivation": 10, "SelectionStatus": 11, "MeasurementDivisor": 12, "MeasuredProperty": 13,
		"MeasurementType": 14, "FindingObservationType": 15, "Stage": 16,
	},
	reflect.TypeFor[echo.Person](): {
		"Pseudonym": 1, "Task": 2,
	},
	reflect.TypeFor[echo.Prior](): {
		"StudyDate": 1, "BirthDate": 2, "PatientSex": 3, "Measurements": 4, "Quoted": 5,
	},
	reflect.TypeFor[echo.Problem](): {
		"Kind": 1, "Detail": 2,
	},
	reflect.TypeFor[echo.Region](): {
		"SpatialFormat": 1, "DataType": 2, "Flags": 3, "MinX": 4, "MinY": 5, "MaxX": 6, "MaxY": 7, "ReferenceX": 8, "ReferenceY": 9, "UnitX": 10,
		"UnitY": 11, "ValueX": 12, "ValueY": 13, "DeltaX": 14, "DeltaY": 15, "Frequency": 16, "PulseRepetition": 17, "CorrectionAngle": 18,
		"SteeringAngle": 19, "Calibrated": 20, "Velocities": 21, "Baseline": 22, "Seconds": 23, "SweepSpeed": 24, "Depth": 25, "ColourScale": 26,
		"ColourReckons": 27, "SampleDepth": 28, "WallFilter": 29, "SampleGate": 30,
	},
	reflect.TypeFor[echo.Segment](): {
		"Site": 1, "Finding": 2, "Score": 3, "Scheme": 4, "Stage": 5, "Source": 6,
	},
	reflect.TypeFor[echo.Source](): {
		"SOPInstanceUID": 1, "Item": 2,
	},
	reflect.TypeFor[echo.Span](): {
		"Low": 1, "High": 2,
	},
	reflect.TypeFor[echo.Statement](): {
		"Identifier": 1, "Negated": 2, "Quote": 3, "FromCode": 4, "Source": 5, "Measurement": 6, "ImageView": 7, "Group": 8,
	},
	reflect.TypeFor[echo.Study](): {
		"StudyInstanceUID": 1, "StudyDate": 2, "Subject": 3, "Documents": 4, "Measurements": 5, "Statements": 6, "Segments": 7, "Images": 8, "Prior": 9,
	},
	reflect.TypeFor[echo.Subject](): {
		"PatientSex": 1, "AgeYears": 2, "PatientSize": 3, "PatientWeight": 4,
	},
}
