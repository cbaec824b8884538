package world

import "strings"

// Code is one coded entry: value, coding scheme designator, meaning.
type Code struct{ Value, Scheme, Meaning string }

// parseCode reads "LN 18043-0 Left Ventricular Ejection Fraction by US".
func parseCode(s string) Code {
	p := strings.SplitN(s, " ", 3)
	if len(p) < 3 {
		return Code{}
	}
	return Code{Value: p[1], Scheme: p[0], Meaning: p[2]}
}

func dcm(v, m string) Code { return Code{v, "DCM", m} }
func sct(v, m string) Code { return Code{v, "SCT", m} }
func lnc(v, m string) Code { return Code{v, "LN", m} }

// Concept names used by all layouts (PS3.16 TID 300, 1001, 5200 family, 5300
// family; shared standard tables).
var (
	cSite      = sct("363698007", "Finding Site")
	cTopo      = sct("106233006", "Topographical modifier")
	cLat       = sct("272741003", "Laterality")
	cMethod    = sct("370129005", "Measurement Method")
	cMode      = sct("399264008", "Image Mode")
	cView      = dcm("111031", "Image View")
	cDir       = sct("260674002", "Flow Direction")
	cPhase     = sct("272518008", "Cardiac Cycle Point")
	cResp      = sct("272517003", "Respiratory Cycle Point")
	cDeriv     = dcm("121401", "Derivation")
	cSelect    = dcm("121404", "Selection Status")
	cSeverity  = sct("246112005", "Severity")
	cEquiv     = dcm("121050", "Equivalent Meaning of Concept Name")
	cGroup     = dcm("125007", "Measurement Group")
	cShort     = dcm("125309", "Short Label")
	cMType     = dcm("125306", "Measurement Type")
	cObsType   = dcm("125305", "Finding Observation Type")
	cProp      = dcm("125307", "Measured Property")
	cDivisor   = dcm("125308", "Measurement Divisor")
	cFinding   = dcm("121071", "Finding") // from memory
	cComment   = dcm("121106", "Comment")
	cEquation  = dcm("121420", "Equation")
	cCertainty = sct("246103008", "Certainty") // from memory
	cRhythm    = lnc("8884-9", "Cardiac Rhythm")
	cBSA       = lnc("8277-6", "Body Surface Area")
	cMean      = sct("373098007", "Mean")
	cBest      = sct("371912002", "Best value")
	cUserSel   = dcm("121410", "User chosen value")
	cRecent    = dcm("121411", "Most recent value chosen")
)

// modNames maps the short modifier tokens of defs.go to the concept name.
var modNames = map[string]Code{
	"site": cSite, "meth": cMethod, "mode": cMode, "view": cView,
	"dir": cDir, "phase": cPhase, "resp": cResp, "lat": cLat, "topo": cTopo,
}

// modValues maps token values to codes; sections use the same site names.
var modValues = map[string]Code{
	"site:LV":    sct("87878005", "Left Ventricle"),
	"site:RV":    sct("53085002", "Right Ventricle"),
	"site:LA":    sct("82471001", "Left Atrium"),
	"site:RA":    sct("73829009", "Right Atrium"),
	"site:AV":    sct("34202007", "Aortic Valve"),
	"site:MV":    sct("91134007", "Mitral Valve"),
	"site:TV":    sct("46030003", "Tricuspid Valve"),
	"site:PV":    sct("39057004", "Pulmonic Valve"),
	"site:AO":    sct("15825003", "Aorta"),
	"site:PA":    sct("81040000", "Pulmonary Artery"),
	"site:IVC":   sct("64131007", "Inferior Vena Cava"),
	"site:PVEIN": sct("122972007", "Pulmonary Venous Structure"),
	"site:HV":    sct("8993003", "Hepatic Vein"),
	"site:PERI":  sct("25489000", "Pericardial cavity"),
	"site:SHUNT": sct("241213007", "Cardiac Shunt Study"),
	"site:LVOT":  sct("13418002", "Left Ventricle Outflow Tract"),
	"site:RVOT":  sct("44627009", "Right Ventricle Outflow Tract"),
	"site:MEDA":  sct("399093001", "Medial Mitral Annulus"),
	"site:LATA":  sct("399086000", "Lateral Mitral Annulus"),
	"site:MANN":  sct("65197004", "Mitral Annulus"),
	"site:TANN":  sct("113259005", "Tricuspid Annulus"),
	"site:ARING": sct("77583004", "Aortic Valve Ring"),
	"site:STJ":   sct("443167003", "Aortic Sinotubular Junction"),
	"site:VSD":   sct("30288003", "Ventricular Septal Defect"),
	"site:ASD":   sct("70142008", "Atrial Septal Defect"),
	"site:EFF":   sct("373945007", "Pericardial effusion"),
	"meth:AL":    dcm("125204", "Area-Length Biplane"),
	"meth:AL1":   dcm("125205", "Area-Length Single Plane"),
	"meth:CUBE":  dcm("125206", "Cube Method"),
	"meth:BP":    dcm("125207", "Method of Disks, Biplane"),
	"meth:SP":    dcm("125208", "Method of Disks, Single Plane"),
	"meth:TEI":   dcm("125209", "Teichholz"),
	"meth:PHT":   dcm("125210", "Area by Pressure Half-Time"),
	"meth:CEV":   dcm("125214", "Continuity Equation by Peak Velocity"),
	"meth:CEI":   dcm("125215", "Continuity Equation by Velocity Time Integral"),
	"meth:PISA":  dcm("125216", "Proximal Isovelocity Surface Area"),
	"meth:FULL":  dcm("125217", "Full Bernoulli"),
	"meth:SIMP":  dcm("125218", "Simplified Bernoulli"),
	"meth:DVF":   dcm("125219", "Doppler Volume Flow"),
	"meth:PLAN":  dcm("125220", "Planimetry"),
	"mode:2D":    sct("399064001", "2D mode"),
	"mode:MM":    sct("399155008", "M mode"),
	"mode:PW":    sct("261199008", "Doppler Pulsed"),
	"mode:CW":    sct("261198000", "Doppler Continuous Wave"),
	"mode:TDI":   sct("439858009", "Tissue Doppler Imaging"),
	"mode:CF":    sct("261197005", "Doppler Color Flow"),
	"mode:3D":    sct("426865009", "3D mode"),
	"mode:STE":   dcm("130679", "2D Speckle Tracking"),
	"view:A4C":   sct("399214001", "Apical four chamber"),
	"view:A2C":   sct("399232001", "Apical two chamber"),
	"view:A3C":   sct("399339008", "Apical long axis"),
	"view:PLAX":  sct("399139001", "Parasternal long axis"),
	"view:RVIN":  sct("398998003", "Right Ventricular Inflow Tract View"),
	"view:PSAX":  sct("399239005", "Parasternal short axis at the aortic valve level"),
	"view:SSN":   sct("399106004", "Suprasternal long axis"),
	"view:SUBC":  sct("399310008", "Subcostal long axis"),
	"view:RVF":   dcm("130681", "Apical four chamber RV Focused"),
	"dir:A":      sct("263677008", "Antegrade Flow"),
	"dir:R":      sct("397417004", "Regurgitant Flow"),
	"dir:RR":     sct("312004007", "Retrograde Flow"),
	"phase:ED":   sct("416190007", "End Diastole"),
	"phase:ES":   sct("416430001", "End Systole"),
	"phase:S":    sct("111973004", "Systole"),
	"phase:D":    sct("90892000", "Diastole"),
	"resp:I":     sct("14910006", "Inspiration"),
	"resp:E":     sct("58322009", "Expiration"),
	"lat:R":      sct("24028007", "Right"),
	"lat:L":      sct("7771000", "Left"),
	"topo:RU":    sct("255499006", "Right Upper Segment"),
}

// severities by grade 0..3 (CID 3716).
var severities = []Code{
	sct("260413007", "None"), sct("255604002", "Mild"),
	sct("6736007", "Moderate"), sct("24484000", "Severe"),
}

// findingCodes are finding values (CID 12248, 3711, 12332, 12341).
var findingCodes = map[string]Code{
	"AR":  sct("60234000", "Aortic regurgitation"),
	"AS":  sct("60573004", "Aortic stenosis"),
	"MR":  sct("48724000", "Mitral regurgitation"),
	"MS":  sct("79619009", "Mitral stenosis"),
	"TR":  sct("111287006", "Tricuspid regurgitation"),
	"PS":  sct("56786000", "Pulmonic valve stenosis"),
	"PR":  sct("10337008", "Regurgitation"), // valve told by the site
	"EFF": sct("373945007", "Pericardial effusion"),
	"ASD": sct("70142008", "Atrial Septal Defect"),
	"VSD": sct("30288003", "Ventricular Septal Defect"),
	"PAV": sct("860577005", "Aortic valve bioprosthesis"),
	"PMV": sct("17107009", "Mitral valve prosthesis"),
}

// findingSites tells the site modifier token of each finding.
var findingSites = map[string]string{
	"AR": "site:AV", "AS": "site:AV", "MR": "site:MV", "MS": "site:MV",
	"TR": "site:TV", "PS": "site:PV", "PR": "site:PV", "EFF": "site:PERI",
	"ASD": "site:ASD", "VSD": "site:VSD", "PAV": "site:AV", "PMV": "site:MV",
}

// lvSegments are the seventeen segments (CID 3717), basal to apex.
var lvSegments = []Code{
	sct("264850008", "left ventricle basal anterior segment"),
	sct("396482007", "left ventricle basal anteroseptal segment"),
	sct("396646008", "left ventricle basal inferoseptal segment"),
	sct("264846001", "left ventricle basal inferior segment"),
	sct("396652009", "left ventricle basal inferolateral segment"),
	sct("396654005", "left ventricle basal anterolateral segment"),
	sct("264848000", "left ventricle mid anterior segment"),
	sct("396647004", "left ventricle mid anteroseptal segment"),
	sct("396649001", "left ventricle mid inferoseptal segment"),
	sct("264847005", "left ventricle mid inferior segment"),
	sct("396655006", "left ventricle mid inferolateral segment"),
	sct("396656007", "left ventricle mid anterolateral segment"),
	sct("264844003", "left ventricle apical anterior segment"),
	sct("264845002", "left ventricle apical septal segment"),
	sct("264849008", "left ventricle apical inferior segment"),
	sct("264853005", "left ventricle apical lateral segment"),
	sct("128564006", "apex of left ventricle"),
}

// wallMotion by score 1..3 (CID 3703).
var wallMotion = []Code{
	{}, sct("373122000", "Normal wall motion"), sct("37706002", "Hypokinesis"),
	sct("195675009", "Akinesis"),
}
