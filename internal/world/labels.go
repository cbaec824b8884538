package world

// screenNames are the short labels of invented screens.
var screenNames = map[string]string{
	"HR": "Heart rate", "RR": "R-R", "LVIDd": "LVID d", "LVIDs": "LVID s", "IVSd": "IVS d", "PWd": "LVPW d", "LVIDdMM": "LVID d MM",
	"LVIDsMM": "LVID s MM", "FS": "%FS", "EFTei": "EF Teich", "EDV": "EDV biplane", "ESV": "ESV biplane", "EF": "EF biplane",
	"EDV4": "EDV A4C", "ESV4": "ESV A4C", "EF4": "EF A4C", "EDV2": "EDV A2C", "ESV2": "ESV A2C", "EDV3": "EDV 3D", "ESV3": "ESV 3D",
	"EF3": "EF 3D", "EDVi": "EDV index", "ESVi": "ESV index", "Mass": "LV mass", "MassI": "LV mass index", "RWT": "Rel. wall thickness",
	"GLS": "GLS avg", "ePs": "e' sept", "ePl": "e' lat", "Ees": "E/e' sept", "Eel": "E/e' lat", "Eea": "E/e' avg", "LVOTd": "LVOT diam",
	"LVOTv": "LVOT Vmax", "LVOTvti": "LVOT VTI", "LVOTpg": "LVOT PG", "SV": "SV LVOT", "SVi": "SV index", "CO": "CO LVOT", "CI": "CI LVOT",
	"AVv": "AV Vmax", "AVpg": "AV max PG", "AVmg": "AV mean PG", "AVvti": "AV VTI", "AVet": "AV ET", "AVat": "AV AT", "AVA": "AVA (VTI)",
	"AVAv": "AVA (Vmax)", "AVAi": "AVA index", "DVI": "Velocity index AV", "ARv": "AR Vmax", "ARvti": "AR VTI", "ARpht": "AR PHT",
	"ARvc": "AR VC", "ARr": "AR PISA r", "ARva": "AR alias", "AReroa": "AR EROA", "ARrvol": "AR RVol", "ARrf": "AR RF",
	"E": "MV E", "A": "MV A", "EA": "MV E/A", "DT": "MV DT", "MVpht": "MV PHT", "MVA": "MVA (PHT)", "MVAp": "MVA plan", "MVv": "MV Vmax",
	"MVpg": "MV max PG", "MVmg": "MV mean PG", "MVvti": "MV VTI", "MVann": "MV annulus", "MVavti": "MV annulus VTI", "MRv": "MR Vmax",
	"MRvti": "MR VTI", "MRvc": "MR VC", "MRr": "MR PISA r", "MRva": "MR alias", "MReroa": "MR EROA", "MRrvol": "MR RVol", "MRrf": "MR RF",
	"dPdt": "LV dP/dt", "TVE": "TV E", "TVAw": "TV A", "TVEA": "TV E/A", "TVann": "TV annulus d", "TVanns": "TV annulus s",
	"TRv": "TR Vmax", "TRpg": "TR max PG", "TRvti": "TR VTI", "TRvc": "TR VC", "TRr": "TR PISA r", "TRva": "TR alias", "TReroa": "TR EROA",
	"TRrvol": "TR RVol", "RVD1": "RV basal", "RVD2": "RV mid", "RVD3": "RV length", "RVEDA": "RV area d", "RVESA": "RV area s",
	"FAC": "RV FAC", "TAPSE": "TAPSE", "RVS": "TV s'", "TCO": "TV closure-opening", "RVet": "PV ET", "RIMP": "RIMP", "RVSP": "RVSP",
	"RVOTd": "RVOT diam", "RVOTvti": "RVOT VTI", "RVSV": "SV RVOT", "PVat": "PV AT", "PVv": "PV Vmax", "PVpg": "PV max PG",
	"PVmg": "PV mean PG", "PRv": "PR Vmax", "PRed": "PR V end-diast", "PRpht": "PR PHT", "LAap": "LA AP", "LAA4": "LA area A4C",
	"LAA2": "LA area A2C", "LAL": "LA length", "LAV": "LA volume", "LAVi": "LA volume index", "RAA": "RA area", "RAVi": "RA volume index",
	"RAP": "RA pressure", "ANN": "AV annulus", "SOV": "Sinus", "STJ": "STJ", "ASC": "Asc aorta", "ARCH": "Arch", "MPA": "MPA",
	"IVCe": "IVC exp", "IVCi": "IVC insp", "IVCc": "IVC collapse", "PVS": "PulmV S", "PVD": "PulmV D", "PVSD": "PulmV S/D",
	"HVS": "HepV S", "HVD": "HepV D", "QpQs": "Qp/Qs", "VSDv": "VSD Vmax", "VSDpg": "VSD PG", "ASDd": "ASD diam", "EFF": "Effusion",
	"Einsp": "MV E insp", "Eexp": "MV E exp", "TVEin": "TV E insp", "TVEex": "TV E exp", "PVR": "PVR", "PASP": "PASP", "MPAP": "mPAP",
	"COUP": "TAPSE/PASP", "IVRT": "IVRT",
}
