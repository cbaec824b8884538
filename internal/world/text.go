package world

import (
	"fmt"
	"strings"
)

// phrase holds one wording in English, German and French.
type phrase struct{ en, de, fr string }

func (p phrase) in(lang string) string {
	switch lang {
	case "de":
		return p.de
	case "fr":
		return p.fr
	}
	return p.en
}

var gradeWords = []phrase{
	{"no", "keine", "pas de"}, {"mild", "leichtgradige", "minime"},
	{"moderate", "mittelgradige", "modérée"}, {"severe", "hochgradige", "sévère"},
}

var lesion = map[string]phrase{
	"AR": {"aortic regurgitation", "Aortenklappeninsuffizienz", "fuite aortique"},
	"AS": {"aortic stenosis", "Aortenklappenstenose", "sténose aortique"},
	"MR": {"mitral regurgitation", "Mitralklappeninsuffizienz", "fuite mitrale"},
	"MS": {"mitral stenosis", "Mitralklappenstenose", "sténose mitrale"},
	"TR": {"tricuspid regurgitation", "Trikuspidalklappeninsuffizienz", "fuite tricuspide"},
	"PS": {"pulmonary stenosis", "Pulmonalklappenstenose", "sténose pulmonaire"},
	"PR": {"pulmonary regurgitation", "Pulmonalklappeninsuffizienz", "fuite pulmonaire"},
}

// valveLine words a graded lesion in the order of each language.
func valveLine(lang, kind string, g int) string {
	w, l := gradeWords[g].in(lang), lesion[kind].in(lang)
	var s string
	switch {
	case lang == "fr" && g > 0:
		s = l + " " + w
	case lang == "fr":
		s = w + " " + l
	default:
		s = w + " " + l
	}
	return capital(s) + "."
}

func capital(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[0])) + string(r[1:])
}

var efWords = []phrase{
	{"Normal left ventricular systolic function", "Normale linksventrikuläre systolische Funktion", "Fonction systolique ventriculaire gauche normale"},
	{"Mildly reduced left ventricular systolic function", "Leichtgradig eingeschränkte linksventrikuläre systolische Funktion", "Fonction systolique ventriculaire gauche légèrement diminuée"},
	{"Moderately reduced left ventricular systolic function", "Mittelgradig eingeschränkte linksventrikuläre systolische Funktion", "Fonction systolique ventriculaire gauche modérément diminuée"},
	{"Severely reduced left ventricular systolic function", "Hochgradig eingeschränkte linksventrikuläre systolische Funktion", "Fonction systolique ventriculaire gauche sévèrement diminuée"},
}

// efGrade: Lang 2015 (men 52, women 54; 41, 30).
func efGrade(ef float64, sex byte) int {
	low := 52.0
	if sex == 'F' {
		low = 54
	}
	switch {
	case ef >= low:
		return 0
	case ef > 40:
		return 1
	case ef >= 30:
		return 2
	}
	return 3
}

var rvWords = [2]phrase{
	{"Normal right ventricular systolic function.", "Normale rechtsventrikuläre systolische Funktion.", "Fonction systolique ventriculaire droite normale."},
	{"Reduced right ventricular systolic function.", "Eingeschränkte rechtsventrikuläre systolische Funktion.", "Fonction systolique ventriculaire droite diminuée."},
}

var (
	phSinus    = phrase{"Sinus rhythm.", "Sinusrhythmus.", "Rythme sinusal."}
	phAF       = phrase{"Atrial fibrillation, five beats measured.", "Vorhofflimmern, je fünf Schläge gemessen.", "Fibrillation atriale, cinq battements mesurés."}
	phQuality  = phrase{"Image quality good, all standard views obtained, no contrast agent.", "Bildqualität gut, alle Standardschnitte eingestellt, kein Kontrastmittel.", "Bonne qualité d'image, toutes les coupes standard obtenues, sans produit de contraste."}
	phBeats    = phrase{"Values are means of three beats.", "Werte als Mittel aus drei Schlägen.", "Valeurs moyennées sur trois battements."}
	phNoEff    = phrase{"No pericardial effusion.", "Kein Perikarderguss.", "Pas d'épanchement péricardique."}
	phEff      = phrase{"Pericardial effusion, up to %s mm.", "Perikarderguss, maximal %s mm.", "Épanchement péricardique, maximum %s mm."}
	phPress    = phrase{"Estimated systolic pulmonary pressure %s mmHg.", "Geschätzter systolischer Pulmonaldruck %s mmHg.", "Pression pulmonaire systolique estimée à %s mmHg."}
	phWall     = phrase{"No regional wall motion abnormality.", "Keine regionale Wandbewegungsstörung.", "Pas de trouble de la cinétique segmentaire."}
	phWallGlob = phrase{"Global hypokinesis.", "Globale Hypokinesie.", "Hypokinésie globale."}
	phWallInf  = phrase{"Inferior akinesis.", "Akinesie inferior.", "Akinésie inférieure."}
	phProsAV   = phrase{"Biological aortic prosthesis, size 23, implanted 2019, normal function.", "Biologische Aortenklappenprothese, Größe 23, Implantation 2019, regelrechte Funktion.", "Bioprothèse aortique, taille 23, implantée en 2019, fonction normale."}
	phProsMV   = phrase{"Mechanical mitral prosthesis, size 29, implanted 2017, normal function.", "Mechanische Mitralklappenprothese, Größe 29, Implantation 2017, regelrechte Funktion.", "Prothèse mécanique mitrale, taille 29, implantée en 2017, fonction normale."}
	phLVOTO    = phrase{"Dynamic left ventricular outflow obstruction; outflow stroke volume and aortic valve velocity not separable.", "Dynamische Obstruktion des linksventrikulären Ausflusstrakts; Schlagvolumen und Aortenklappenfluss nicht getrennt messbar.", "Obstruction dynamique de la chambre de chasse; volume d'éjection et flux aortique non mesurables séparément."}
	phConstr   = phrase{"Septal bounce and respiratory variation in keeping with constriction.", "Septal bounce und atemabhängige Schwankung passend zur Konstriktion.", "Rebond septal et variations respiratoires évoquant une constriction."}
	phASD      = phrase{"Secundum atrial septal defect with left to right shunt.", "Vorhofseptumdefekt vom Sekundumtyp mit Links-rechts-Shunt.", "Communication interauriculaire ostium secundum, shunt gauche-droite."}
	phVSD      = phrase{"Restrictive ventricular septal defect with left to right shunt.", "Restriktiver Ventrikelseptumdefekt mit Links-rechts-Shunt.", "Communication interventriculaire restrictive, shunt gauche-droite."}
	phPreg     = phrase{"Pregnancy, second trimester.", "Schwangerschaft, zweites Trimenon.", "Grossesse, deuxième trimestre."}
	phLowFlow  = phrase{"Low-flow low-gradient pattern, stroke volume index below 35 ml/m2.", "Low-flow-low-gradient-Konstellation, Schlagvolumenindex unter 35 ml/m2.", "Bas débit bas gradient, volume indexé inférieur à 35 ml/m2."}
)

// reason is a declared cause for missing keys.
type reason struct {
	keys []string
	p    phrase
}

var reasons = []reason{
	{[]string{"IVCe", "IVCi", "IVCc", "RAP", "RVSP", "PASP", "MPAP", "COUP", "HVS", "HVD"}, phrase{"Poor subcostal window, vena cava not seen.", "Subkostal nicht schallbar, Vena cava nicht einsehbar.", "Fenêtre sous-costale médiocre, veine cave non vue."}},
	{[]string{"TRv", "TRpg", "RVSP", "PASP", "MPAP", "COUP", "PVR", "TRvti", "TRvc", "TRr", "TRva", "TReroa", "TRrvol"}, phrase{"No tricuspid regurgitation, pressure not estimated.", "Keine Trikuspidalinsuffizienz, Druck nicht abschätzbar.", "Pas de fuite tricuspide, pression non estimable."}},
	{[]string{"ARCH", "MPA"}, phrase{"Suprasternal view not possible.", "Suprasternaler Schnitt nicht möglich.", "Coupe suprasternale impossible."}},
	{[]string{"PRv", "PRed", "PVat", "RVOTd", "RVOTvti", "RVSV", "PVR", "QpQs", "MPA", "ARCH", "GLS", "RVS", "TVE", "TVAw", "TVEA"}, phrase{"Study ended early, patient in pain.", "Untersuchung wegen Schmerzen vorzeitig beendet.", "Examen interrompu, patient algique."}},
	{[]string{"EDV", "ESV", "EF", "EDVi", "ESVi", "EDV2", "ESV2", "EDV3", "ESV3", "EF3", "EDV4", "ESV4", "EF4", "GLS"}, phrase{"Apical endocardium not seen, volumes not traced.", "Apikales Endokard nicht abgrenzbar, keine Volumetrie.", "Endocarde apical non visible, volumes non tracés."}},
}

// silent lists sets ordinary labs leave out without a word.
var silent = [][]string{
	{"GLS"}, {"RVD2", "RVD3"}, {"TVE", "TVAw", "TVEA"}, {"HVS", "HVD"}, {"PVS", "PVD", "PVSD"},
	{"RVEDA", "RVESA", "FAC"}, {"TCO", "RVet", "RIMP"}, {"RVOTd", "RVOTvti", "RVSV", "PVR", "QpQs"},
	{"ARCH"}, {"STJ"}, {"IVRT"}, {"MVann", "MVavti", "MRrf"}, {"TVann", "TVanns"}, {"PRv", "PRed"},
	{"AVet", "AVat"}, {"LAap"}, {"RAVi"},
}

var studyDesc = phrase{"Transthoracic echocardiogram, comprehensive", "Transthorakale Echokardiographie, vollständig", "Échocardiographie transthoracique, complète"}
var limitedDesc = phrase{"Limited transthoracic echo", "Eingeschränkte Echokardiographie, gezielte Fragestellung", "Échocardiographie limitée, contrôle ciblé"}

func fmtInt(v float64) string { return fmt.Sprintf("%.0f", v) }
