package deident

import "echotally/internal/dcm"

// action is what becomes of an attribute.
type action byte

const (
	remove action = iota // all that are not in the table
	keep
	replaceUID
	shiftDate     // a date, or a date with time
	cleanText     // words that reports are written with stay
	cleanMeaning  // the meaning of a code: as cleanText where the coding scheme is private
	empty         // has to be there, without a value
	dummyName     // a person
	dummyCode     // the code of the copy
	removedPerson // a person in the content
	into          // a sequence, item by item
)

// table says what becomes of the attributes of a structured report (PS3.3 A.35, C.17
// and C.18; PS3.15 table E.1-1).
func table() map[dcm.Tag]action {
	out := map[dcm.Tag]action{}
	for what, tags := range map[action][]uint32{
		keep: {
			0x00080016, 0x00080030, 0x00080031, 0x00080032, 0x00080033, 0x00080060, 0x00080070, 0x00081090, 0x00181020, // equipment: maker, model, software
			0x00100040, 0x00101010, 0x00101020, 0x00101030, // sex, age, size, weight
			0x00200011, 0x00200013,
			0x00080100, 0x00080102, 0x00080103, 0x00080105, 0x00080106, 0x00080107, 0x0008010B, 0x0008010D, 0x0008010F, 0x00080119, 0x00080120, // codes
			0x0040A010, 0x0040A040, 0x0040A050, 0x0040A122, 0x0040A130, 0x0040A132, 0x0040A138, 0x0040A161, 0x0040A162, 0x0040A163, 0x0040A30A, // content items
			0x0040A491, 0x0040A493, 0x0040DB00, 0x0040DB73, 0x0040A0B0, 0x00700022, 0x00700023, 0x00081150, 0x00081160,
		},
		replaceUID:    {0x00080018, 0x0020000D, 0x0020000E, 0x00081155, 0x0040A124, 0x00200052},
		shiftDate:     {0x00080020, 0x00080021, 0x00080022, 0x00080023, 0x0008002A, 0x0040A121, 0x0040A120, 0x0040A13A, 0x0040A030, 0x0040A032},
		cleanText:     {0x00081030, 0x0008103E, 0x0040A160},
		cleanMeaning:  {0x00080104},
		empty:         {0x00080050, 0x00080090, 0x00100030, 0x00200010},
		dummyName:     {0x00100010},
		dummyCode:     {0x00100020},
		removedPerson: {0x0040A123, 0x0040A075},
		into: {
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

// codes of what was done (PS3.16 CID 7050).
var done = []struct{ value, meaning string }{
	{"113100", "Basic Application Confidentiality Profile"},
	{"113104", "Clean Structured Content Option"},
	{"113105", "Clean Descriptors Option"},
	{"113107", "Retain Longitudinal Temporal Information Modified Dates Option"},
	{"113108", "Retain Patient Characteristics Option"},
}
