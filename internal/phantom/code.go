package phantom

// code is a coded concept; legacy is the SNOMED identifier of the same concept
// in the older alphanumeric form, "" when there is none.
type code struct {
	value, scheme, meaning, legacy string
}

func ln(value, meaning string) code { return code{value: value, scheme: "LN", meaning: meaning} }

// DcmCode is a code of scheme DCM.
func DcmCode(value, meaning string) code {
	return code{value: value, scheme: "DCM", meaning: meaning}
}

func sct(value, legacy, meaning string) code {
	return code{value: value, scheme: "SCT", meaning: meaning, legacy: legacy}
}

// UcumCode is a unit.
func UcumCode(unit string) code { return code{value: unit, scheme: "UCUM", meaning: unit} }

// term is a short name for a code of a modifier's value set.
type term string

// Image modes, PS3.16 CID 12224.
const (
	twoDimensional term = "2d"
	mMode          term = "m-mode"
	colourDoppler  term = "colour"
	pulsedWave     term = "pulsed"
	continuousWave term = "continuous"
	tissueDoppler  term = "tissue"
	speckle        term = "speckle"
	threeD         term = "3d"
)

// Image views, PS3.16 CID 12226.
const (
	parasternalLong  term = "parasternal long axis"
	RvInflow         term = "rv inflow"
	ShortAxisBase    term = "short axis base"
	shortAxisMid     term = "short axis papillary"
	ApicalFour       term = "apical four chamber"
	apicalFocused    term = "apical four chamber rv focused"
	apicalTwo        term = "apical two chamber"
	apicalLong       term = "apical long axis"
	SubcostalLong    term = "subcostal long axis"
	suprasternalLong term = "suprasternal long axis"
	subcostalVenous  term = "subcostal venous inflow"
)

// Sites, flow directions, methods, phases and the rest.
const (
	LeftVentricle     term = "left ventricle"
	outflowTract      term = "lvot"
	leftAtrium        term = "left atrium"
	mitralValve       term = "mitral valve"
	mitralAnnulus     term = "mitral annulus"
	septalAnnulus     term = "medial mitral annulus"
	lateralAnnulus    term = "lateral mitral annulus"
	aorticValve       term = "aortic valve"
	aorticRing        term = "aortic valve ring"
	aorta             term = "aorta"
	rightVentricle    term = "right ventricle"
	rightOutflowTract term = "rvot"
	rightAtrium       term = "right atrium"
	atrialSeptum      term = "interatrial septum"
	TricuspidValve    term = "tricuspid valve"
	tricuspidAnnulus  term = "tricuspid annulus"
	pulmonaryValve    term = "pulmonary valve"
	pulmonaryArtery   term = "pulmonary artery"
	pulmonaryVein     term = "pulmonary vein"
	cava              term = "inferior vena cava"
	hepaticVein       term = "hepatic vein"
	pericardium       term = "pericardial cavity"
	pulmonaryRing     term = "pulmonary valve ring"
	rightAnteriorWall term = "right ventricle anterior wall"
	venaContracta     term = "vena contracta"

	antegrade  term = "antegrade"
	retrograde term = "retrograde"

	biplaneDiscs    term = "discs biplane"
	singleDiscs     term = "discs single plane"
	areaLength      term = "area-length biplane"
	volumeFlow      term = "doppler volume flow"
	isovelocity     term = "pisa"
	continuity      term = "continuity"
	continuityByVTI term = "continuity by vti"
	halfTimeMethod  term = "area by pressure half-time"
	planimetry      term = "planimetry"
	cubeMethod      term = "cube"

	Inspiration term = "inspiration"
	Expiration  term = "expiration"

	endDiastole term = "end diastole"
	endSystole  term = "end systole"

	meanOf    term = "mean"
	estimated term = "estimated"
)

// terms gives the codes: PS3.16 CID 12221, 12224, 12226, 12227, 12233, 12234,
// 12236, 12305, 3627 and the section sites of TID 5200.
var terms = map[term]code{
	twoDimensional: sct("399064001", "G-03A2", "2D mode"),
	mMode:          sct("399155008", "G-0394", "M mode"),
	colourDoppler:  sct("261197005", "R-409E2", "Doppler Color Flow"),
	pulsedWave:     sct("261199008", "R-409E4", "Doppler Pulsed"),
	continuousWave: sct("261198000", "R-409E3", "Doppler Continuous Wave"),
	tissueDoppler:  sct("439858009", "P5-B0128", "Tissue Doppler Imaging"),
	speckle:        DcmCode("130679", "2D Speckle Tracking"),
	threeD:         sct("426865009", "P0-02242", "3D mode"),

	parasternalLong:  sct("399139001", "G-0396", "Parasternal long axis"),
	RvInflow:         sct("443082005", "G-0577", "Parasternal long axis view of the RV inflow tract"),
	shortAxisMid:     sct("399271003", "G-039B", "Parasternal short axis at the Papillary Muscle level"),
	ShortAxisBase:    sct("399239005", "G-0398", "Parasternal short axis at the aortic valve level"),
	ApicalFour:       sct("399214001", "G-A19C", "Apical four chamber"),
	apicalFocused:    DcmCode("130681", "Apical four chamber RV Focused"),
	apicalTwo:        sct("399232001", "G-A19B", "Apical two chamber"),
	apicalLong:       sct("399339008", "G-0395", "Apical long axis"),
	SubcostalLong:    sct("399310008", "G-039E", "Subcostal long axis"),
	suprasternalLong: sct("399106004", "G-03A0", "Suprasternal long axis"),
	subcostalVenous:  sct("443500008", "G-057C", "Subcostal short axis view at venous inflow level"),

	LeftVentricle:     sct("87878005", "T-32600", "Left Ventricle"),
	outflowTract:      sct("13418002", "T-32650", "Left Ventricle Outflow Tract"),
	leftAtrium:        sct("82471001", "T-32300", "Left Atrium"),
	mitralValve:       sct("91134007", "T-35300", "Mitral Valve"),
	mitralAnnulus:     sct("65197004", "T-35310", "Mitral Annulus"),
	septalAnnulus:     sct("399093001", "G-0391", "Medial Mitral Annulus"),
	lateralAnnulus:    sct("399086000", "G-0392", "Lateral Mitral Annulus"),
	aorticValve:       sct("34202007", "T-35400", "Aortic Valve"),
	aorticRing:        sct("77583004", "T-35410", "Aortic Valve Ring"),
	aorta:             sct("15825003", "T-42000", "Aorta"),
	rightVentricle:    sct("53085002", "T-32500", "Right Ventricle"),
	rightOutflowTract: sct("44627009", "T-32550", "Right Ventricle Outflow Tract"),
	atrialSeptum:      sct("58095006", "T-32150", "Interatrial septum"),
	rightAtrium:       sct("73829009", "T-32200", "Right Atrium"),
	TricuspidValve:    sct("46030003", "T-35100", "Tricuspid Valve"),
	tricuspidAnnulus:  sct("113259005", "T-35110", "Tricuspid Annulus"),
	pulmonaryValve:    sct("39057004", "T-35200", "Pulmonic Valve"),
	pulmonaryArtery:   sct("81040000", "T-44000", "Pulmonary artery"),
	pulmonaryVein:     sct("122972007", "T-48581", "Pulmonary Venous Structure"),
	cava:              sct("64131007", "T-48710", "Inferior vena cava"),
	hepaticVein:       sct("8993003", "T-48720", "Hepatic vein"),
	pericardium:       sct("25489000", "T-39050", "Pericardial cavity"),
	pulmonaryRing:     sct("90318009", "T-35210", "Pulmonary valve ring"),
	rightAnteriorWall: DcmCode("125319", "Right Ventricle Anterior Wall"),
	venaContracta:     sct("443501007", "R-421AA", "Vena Contracta"),

	antegrade:  sct("263677008", "R-42047", "Antegrade Flow"),
	retrograde: sct("312004007", "R-42E61", "Retrograde Flow"),

	biplaneDiscs:    DcmCode("125207", "Method of Disks, Biplane"),
	singleDiscs:     DcmCode("125208", "Method of Disks, Single Plane"),
	areaLength:      DcmCode("125204", "Area-Length Biplane"),
	volumeFlow:      DcmCode("125219", "Doppler Volume Flow"),
	isovelocity:     DcmCode("125216", "Proximal Isovelocity Surface Area"),
	continuity:      DcmCode("125212", "Continuity Equation"),
	continuityByVTI: DcmCode("125215", "Continuity Equation by Velocity Time Integral"),
	halfTimeMethod:  DcmCode("125210", "Area by Pressure Half-Time"),
	planimetry:      DcmCode("125220", "Planimetry"),
	cubeMethod:      DcmCode("125206", "Cube Method"),

	Inspiration: sct("14910006", "F-20010", "Inspiration"),
	Expiration:  sct("58322009", "F-20020", "Expiration"),

	endDiastole: sct("416190007", "R-FAB5C", "End Diastole"),
	endSystole:  sct("416430001", "R-FAB5B", "End Systole"),

	meanOf:    sct("373098007", "R-00317", "Mean"),
	estimated: sct("414135002", "R-10260", "Estimated"),
}

// Concept names used to build the tree.
var (
	reportTitle        = DcmCode("125200", "Adult Echocardiography Procedure Report")
	childReportTitle   = DcmCode("125195", "Pediatric Cardiac Ultrasound Report")
	languageName       = DcmCode("121049", "Language of Content Item and Descendants")
	countryName        = DcmCode("121046", "Country of Language")
	english            = code{value: "en", scheme: "RFC5646", meaning: "English"}
	unitedKingdom      = code{value: "GB", scheme: "ISO3166_1", meaning: "United Kingdom"}
	observerType       = DcmCode("121005", "Observer Type")
	personObserver     = DcmCode("121006", "Person")
	deviceObserver     = DcmCode("121007", "Device")
	personName         = DcmCode("121008", "Person Observer Name")
	roleInProcedure    = DcmCode("121011", "Person Observer's Role in this Procedure")
	performing         = DcmCode("121094", "Performing")
	deviceUID          = DcmCode("121012", "Device Observer UID")
	deviceName         = DcmCode("121013", "Device Observer Name")
	deviceManufacturer = DcmCode("121014", "Device Observer Manufacturer")
	deviceModel        = DcmCode("121015", "Device Observer Model Name")
	procedureReported  = DcmCode("121058", "Procedure reported")
	transthoracic      = sct("433236007", "P5-B3012", "Transthoracic echocardiography")
	pediatricStudy     = sct("431852008", "P5-B300F", "Pediatric echocardiography")
	characteristics    = DcmCode("121118", "Patient Characteristics")
	subjectAge         = DcmCode("121033", "Subject Age")
	subjectSex         = DcmCode("121032", "Subject Sex")
	patientHeight      = ln("8302-2", "Patient Height")
	patientWeight      = ln("29463-7", "Patient Weight")
	surfaceFormula     = ln("8278-4", "Body Surface Area Formula")
	systolicPressure   = sct("271649006", "F-008EC", "Systolic Blood Pressure")
	diastolicPressure  = sct("271650006", "F-008ED", "Diastolic Blood Pressure")
	oldFindings        = DcmCode("121070", "Findings")
	findings           = ln("59776-5", "Findings")
	finding            = DcmCode("121071", "Finding")
	findingSite        = sct("363698007", "G-C0E3", "Finding Site")
	measurementGroup   = DcmCode("125007", "Measurement Group")
	imageMode          = sct("399264008", "G-0373", "Image Mode")
	imageView          = DcmCode("111031", "Image View")
	flowDirection      = sct("260674002", "G-C048", "Flow Direction")
	measurementMethod  = sct("370129005", "G-C036", "Measurement Method")
	cardiacPoint       = sct("272518008", "R-4089A", "Cardiac Cycle Point")
	respiratoryPoint   = sct("272517003", "R-40899", "Respiratory Cycle Point")
	derivation         = DcmCode("121401", "Derivation")
	selectionStatus    = DcmCode("121404", "Selection Status")
	userChosen         = DcmCode("121410", "User chosen value")
	meanChosen         = DcmCode("121412", "Mean value chosen")
	imageSource        = DcmCode("121112", "Source of Measurement")
	shortLabel         = DcmCode("125309", "Short Label")
	indications        = ln("18785-6", "Indications for Procedure")
	conclusions        = DcmCode("121076", "Conclusions")
	conclusion         = DcmCode("121077", "Conclusion")
	preCoordinated     = DcmCode("125301", "Pre-coordinated Measurements")
	postCoordinated    = DcmCode("125302", "Post-coordinated Measurements")
	observationType    = DcmCode("125305", "Finding Observation Type")
	measurementType    = DcmCode("125306", "Measurement Type")
	measuredProperty   = DcmCode("125307", "Measured Property")
	surfaceArea        = ln("8277-6", "Body Surface Area")
)

// SectionNamed is the section of a report by a short name.
func SectionNamed(name string) term {
	return map[string]term{
		"tricuspid": TricuspidValve, "right-ventricle": rightVentricle, "pulmonary-valve": pulmonaryValve,
		"pericardium": pericardium, "left-ventricle": LeftVentricle, "aortic-valve": aorticValve, "mitral-valve": mitralValve, "aorta": aorta,
	}[name]
}
