package phantom

// sayRhythm notes the rhythm in words; a dialect that can also codes it.
func (t Taker) sayRhythm() {
	if t.Profile.rhythm == atrialFibrillation {
		t.say("", "rhythm", "Atrial fibrillation during the study. Doppler averaged over five beats.")
		c := sct("49436004", "D3-31520", "Atrial fibrillation")
		t.rhythm = &c
		return
	}
	t.say("", "rhythm", "Sinus rhythm during the study.")
	c := sct("64730000", "", "Normal sinus rhythm")
	t.rhythm = &c
}

// SayFindings writes the report of a comprehensive study.
func (t Taker) SayFindings() {
	p := t.Profile
	t.say("", "protocol", "Comprehensive transthoracic study.")
	t.sayRhythm()
	t.sayQuality()
	t.say(LeftVentricle, "left-ventricle", "Left ventricular size and systolic function normal. No regional wall motion abnormality.")
	t.sayLeftValves()
	t.sayTricuspid()
	t.sayRightHeart()
	t.say(pericardium, "pericardium", "No pericardial effusion.")
	t.say("", "summary", p.title+".")
}

func (t Taker) sayQuality() {
	if !t.Profile.poorWindows {
		t.say("", "quality", "Good image quality.")
		return
	}
	t.say("", "quality", "Fair image quality.")
	t.say("", "subcostal", "Subcostal view not obtained: abdominal dressing.")
	t.say("", "suprasternal", "Suprasternal view not obtained: neck could not be extended.")
	t.say("", "pressure", "Inferior vena cava not seen. Right atrial pressure not estimated.")
}

func (t Taker) sayLeftValves() {
	switch t.Profile.mitralRegurgitation {
	case moderate:
		t.say(mitralValve, "mitral", "Moderate mitral regurgitation, posteriorly directed jet.")
	case mild:
		t.say(mitralValve, "mitral", "Mild mitral regurgitation.")
	default:
		t.say(mitralValve, "mitral", "Mitral valve normal. No mitral stenosis.")
	}
	if t.Profile.aorticStenosis >= severe {
		t.say(aorticValve, "aortic", "Severe aortic stenosis. Aortic valve calcified with restricted opening. Trileaflet aortic valve.")
		t.say(aorticValve, "aortic-windows", "Continuous wave from the apical, suprasternal and right parasternal windows; apical gave the highest velocity.")
	} else {
		t.say(aorticValve, "aortic", "Aortic valve opens well. No aortic stenosis, no aortic regurgitation.")
	}
}

// sayTricuspid notes what the standard has no code for: sample position,
// filter, sweep, breathing and the jet.
func (t Taker) sayTricuspid() {
	p := t.Profile
	t.say(TricuspidValve, "tips", "Tricuspid inflow sampled at the leaflet tips.")
	t.say(TricuspidValve, "filter", "Low wall filter and low velocity scale used for tricuspid inflow.")
	if p.rhythm == sinusRhythm {
		t.say(TricuspidValve, "breathing", "Respiratory variation recorded at slow sweep speed.")
	} else {
		t.say(TricuspidValve, "breathing", "Tricuspid inflow averaged over the respiratory cycle.")
	}
	if p.noJet {
		t.say(TricuspidValve, "jet", "No tricuspid regurgitation jet could be measured from any window.")
		return
	}
	switch p.tricuspidRegurgitation {
	case severe:
		t.say(TricuspidValve, "tricuspid", "Severe tricuspid regurgitation. Central TR jet. Dense parabolic TR signal. Tricuspid leaflets do not coapt.")
		t.say(TricuspidValve, "cause", "Ventricular secondary TR. Tethered tricuspid leaflets.")
	case moderate:
		t.say(TricuspidValve, "tricuspid", "Moderate tricuspid regurgitation. Central TR jet.")
	default:
		t.say(TricuspidValve, "tricuspid", capital(p.tricuspidRegurgitation.String())+" tricuspid regurgitation. Central TR jet.")
	}
	if p.tricuspidStenosis {
		t.say(TricuspidValve, "stenosis", "Tricuspid stenosis with thickened, doming leaflets.")
	}
}

func (t Taker) sayRightHeart() {
	p := t.Profile
	switch {
	case p.pressure.Low > 60:
		t.say(rightVentricle, "right-ventricle", "Right ventricle dilated. Right ventricular function reduced. Septal flattening in systole.")
		t.say("", "probability", "High probability of pulmonary hypertension. Mid-systolic notch of the pulmonary outflow.")
	case p.tricuspidRegurgitation >= severe:
		t.say(rightVentricle, "right-ventricle", "Right ventricle dilated. Right ventricular function normal.")
	default:
		t.say(rightVentricle, "right-ventricle", "Right ventricle of normal size. Right ventricular function normal.")
	}
	if p.poorWindows {
		return
	}
	switch {
	case p.tricuspidRegurgitation >= severe:
		t.say(hepaticVein, "hepatic", "Systolic flow reversal in the hepatic veins.")
	case p.atrialPressure > 3:
		t.say(hepaticVein, "hepatic", "Blunted systolic flow in the hepatic veins.")
	default:
		t.say(hepaticVein, "hepatic", "Normal hepatic vein flow.")
	}
	t.say(cava, "sniff", "Inferior vena cava measured with sniff.")
}

func capital(s string) string { return string(s[0]-'a'+'A') + s[1:] }

// Asking is the report with a line that says why the study was wanted, behind
// all else.
func (i Item) Asking(why string) Item {
	return i.with(container(contains, indications, text(contains, DcmCode("121071", "Finding"), why)))
}
