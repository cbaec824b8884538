package world

// wordless: a study of this condition can be complete without a word of text.
func (c cond) wordless() bool {
	return !c.lvoto && !c.respVar && !c.prosAV && !c.prosMV && c.ava[1] == 0 && c.mva[1] == 0 &&
		c.arE[1] == 0 && c.mrE[1] < .2 && c.trE[1] < .2 && c.prVol[1] == 0 && c.asd[1]+c.vsd[1] == 0 &&
		c.psV[1] == 0 && c.eff[1] == 0 && c.rvsp[1] < 60
}

// triggerNotes are the statements a lesion asks for beyond its numbers
// (completeness.md section 4: Zoghbi 2017, Baumgartner 2017, Hahn 2023, Klein
// 2013, ESC/ERS 2022); no code of the echo groups says them.
var triggerNotes = map[string]phrase{
	"AS": {"Calcified trileaflet valve; right parasternal non-imaging probe tried, no higher signal.", "Verkalkte trikuspide Klappe; rechts parasternal mit Stiftsonde kein höheres Signal.", "Valve tricuspide calcifiée; sonde aveugle parasternale droite, pas de signal supérieur."},
	"AR": {"Central jet, aortic root of normal shape; diastolic flow in the descending aorta recorded.", "Zentraler Jet, Aortenwurzel regelrecht; diastolischer Fluss in der Aorta descendens registriert.", "Jet central, racine normale; flux diastolique de l'aorte descendante enregistré."},
	"MR": {"Mechanism: leaflet motion described in three views; flow of two pulmonary veins recorded.", "Mechanismus: Segelbewegung in drei Schnitten beschrieben; Fluss in zwei Lungenvenen registriert.", "Mécanisme: mouvement des feuillets décrit sur trois coupes; flux de deux veines pulmonaires enregistré."},
	"MS": {"Rheumatic doming, commissures fused, subvalvular apparatus mildly thickened.", "Rheumatisches Doming, Kommissuren verschmolzen, Halteapparat gering verdickt.", "Aspect rhumatismal en dôme, commissures fusionnées, appareil sous-valvulaire peu épaissi."},
	"TR": {"Annular dilatation, coaptation gap seen in three windows; systolic flow of the hepatic vein blunted.", "Anulusdilatation, Koaptationsdefekt in drei Fenstern; systolischer Lebervenenfluss vermindert.", "Dilatation annulaire, défaut de coaptation sur trois fenêtres; flux systolique hépatique diminué."},
	"PH": {"Systolic septal flattening, notched outflow signal.", "Systolische Septumabflachung, gekerbtes Ausflusssignal.", "Septum aplati en systole, flux d'éjection crocheté."},
	"EF": {"No chamber collapse.", "Kein Kollaps der Herzhöhlen.", "Pas de collapsus des cavités."},
	"PR": {"Wide laminar jet, transannular patch region.", "Breiter laminarer Jet im Bereich des transanulären Patches.", "Jet large et laminaire au niveau du patch transannulaire."},
}

// triggered adds the statements the lesions of a complete study ask for.
func (rp *report) triggered() {
	say := func(on bool, k string) {
		if on {
			rp.notes = append(rp.notes, line{"trigger", triggerNotes[k].in(rp.lang)})
		}
	}
	g, c := rp.h.grade, rp.h.c
	for _, k := range []string{"AS", "AR", "MR", "MS", "TR", "PR"} {
		say(g[k] >= 2, k)
	}
	say(c.rvsp[1] > 60 && c.psV[1] == 0, "PH")
	say(c.eff[1] > .9, "EF")
}
