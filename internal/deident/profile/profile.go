// Package profile owns what becomes of each attribute of a structured report in a
// de-identified copy, by DICOM PS3.15 Annex E: what may stay is listed, all else goes.
package profile

import "echotally/internal/dcm"

// Action is what becomes of an attribute.
type Action byte

// What becomes of an attribute.
const (
	Remove Action = iota // all that are not in the table
	Keep
	ReplaceUID
	ShiftDate     // a date, or a date with time
	CleanText     // words that reports are written with stay
	CleanMeaning  // the meaning of a code: as CleanText where the coding scheme is private
	Empty         // has to be there, without a value
	DummyName     // a person
	DummyCode     // the code of the copy
	RemovedPerson // a person in the content
	Into          // a sequence, item by item
)

// Table says what becomes of the attributes of a structured report (PS3.3 A.35, C.17
// and C.18; PS3.15 table E.1-1).
func Table() map[dcm.Tag]Action {
	out := map[dcm.Tag]Action{}
	for what, tags := range map[Action][]uint32{
		Keep: {
			0x00080016, 0x00080030, 0x00080031, 0x00080032, 0x00080033, 0x00080060, 0x00080070, 0x00081090, 0x00181020, // equipment: maker, model, software
			0x00100040, 0x00101010, 0x00101020, 0x00101030, // sex, age, size, weight
			0x00200011, 0x00200013,
			0x00080100, 0x00080102, 0x00080103, 0x00080105, 0x00080106, 0x00080107, 0x0008010B, 0x0008010D, 0x0008010F, 0x00080119, 0x00080120, // codes
			0x0040A010, 0x0040A040, 0x0040A050, 0x0040A122, 0x0040A130, 0x0040A132, 0x0040A138, 0x0040A161, 0x0040A162, 0x0040A163, 0x0040A30A, // content items
			0x0040A491, 0x0040A493, 0x0040DB00, 0x0040DB73, 0x0040A0B0, 0x00700022, 0x00700023, 0x00081150, 0x00081160,
		},
		ReplaceUID:    {0x00080018, 0x0020000D, 0x0020000E, 0x00081155, 0x0040A124, 0x00200052},
		ShiftDate:     {0x00080020, 0x00080021, 0x00080022, 0x00080023, 0x0008002A, 0x0040A121, 0x0040A120, 0x0040A13A, 0x0040A030, 0x0040A032},
		CleanText:     {0x00081030, 0x0008103E, 0x0040A160},
		CleanMeaning:  {0x00080104},
		Empty:         {0x00080050, 0x00080090, 0x00100030, 0x00200010},
		DummyName:     {0x00100010},
		DummyCode:     {0x00100020},
		RemovedPerson: {0x0040A123, 0x0040A075},
		Into: {
			0x0040A730, 0x0040A043, 0x0040A300, 0x004008EA, 0x0040A301, 0x0040A168, 0x0040A504, 0x00081199, 0x00081115, 0x0040A375, 0x0040A385, 0x0040A360,
			0x0040A073, 0x00081032, 0x0040A372, 0x0040A195,
		},
	} {
		for _, t := range tags {
			out[dcm.T(t)] = what
		}
	}
	return out
}

// Done are the codes of what was done (PS3.16 CID 7050).
var Done = []struct{ Value, Meaning string }{
	{"113100", "Basic Application Confidentiality Profile"},
	{"113104", "Clean Structured Content Option"},
	{"113105", "Clean Descriptors Option"},
	{"113107", "Retain Longitudinal Temporal Information Modified Dates Option"},
	{"113108", "Retain Patient Characteristics Option"},
}
