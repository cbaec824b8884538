package phantom

// Kind is the dimension of a quantity and decides unit and decimals in a
// dialect. The model's own units stand in the comments.
type Kind int

const (
	Length         Kind = iota // cm
	Area                       // cm2
	volume                     // mL
	BloodVelocity              // m/s
	TissueVelocity             // cm/s
	Integral                   // cm
	pressure                   // mm[Hg]
	Interval                   // ms
	rate                       // 1/min
	Fraction                   // %
	ratio                      // 1
	mass                       // g
	output                     // L/min
	volumeIndex                // mL/m2
	massIndex                  // g/m2
	areaIndex                  // cm2/m2
	lengthIndex                // mm/m2
	outputIndex                // L/min/m2
	surface                    // m2
	Stature                    // cm
	BodyMass                   // kg
	Years                      // a
	StrainKind                 // %
)

// quantity says how a measurand is coded: the concept name with its modifiers
// as PS3.17 N.3 composes them, and the concept of CID 12300 when there is one.
type quantity struct {
	Measurand    string
	section      term
	Kind         Kind
	concept      code // of TID 5200; empty when only CID 12300 has it
	core         code // of CID 12300
	site         term
	flow, method term
	phase        term // cardiac cycle point
	mode, view   term // as the laboratory takes it
	Label        string
}

var (
	peakVelocity        = ln("11726-7", "Peak Velocity")
	velocityTime        = ln("20354-7", "Velocity Time Integral")
	peakGradient        = ln("20247-3", "Peak Gradient")
	meanGradient        = ln("20256-4", "Mean Gradient")
	orificeArea         = sct("399367004", "G-038E", "Cardiovascular Orifice Area")
	orificeSpan         = sct("399027007", "G-038F", "Cardiovascular Orifice Diameter")
	flowVolume          = ln("33878-0", "Volume Flow")
	strokeVolume        = sct("90096001", "F-32120", "Stroke Volume")
	tissueEarly         = sct("399133000", "G-037A", "Left Ventricular Peak Early Diastolic Tissue Velocity")
	cardiacOutput       = sct("82799009", "F-32100", "Cardiac Output")
	tissueRatio         = sct("399140004", "G-037B", "Ratio of MV Peak Velocity to LV Peak Tissue Velocity E-Wave")
	cavaDiameter        = ln("18006-7", "Inferior Vena Cava Diameter")
	regurgitantFraction = sct("399301000", "G-0390", "Regurgitant Fraction")
	aliasVelocity       = ln("59130-5", "Alias velocity")
)

// quantities is the demo lab's list. Codes: PS3.16 CID 12200 to 12217, 12300;
// compositions: PS3.17 N.3.
var quantities = []quantity{
	{Measurand: "interventricular-septum-thickness-diastole", section: LeftVentricle, Kind: Length, concept: ln("18154-5", "Interventricular Septum Diastolic Thickness"), core: ln("79969-2", "Interventricular septum diastolic dimension 2D"), mode: twoDimensional, view: parasternalLong, Label: "IVSd"},
	{Measurand: "left-ventricular-internal-diameter-diastole", section: LeftVentricle, Kind: Length, concept: ln("29436-3", "Left Ventricle Internal End Diastolic Dimension"), core: ln("80007-8", "Left ventricular internal diastolic dimension - 2D"), mode: twoDimensional, view: parasternalLong, Label: "LVIDd"},
	{Measurand: "left-ventricular-posterior-wall-thickness-diastole", section: LeftVentricle, Kind: Length, concept: ln("18152-9", "Left Ventricle Posterior Wall Diastolic Thickness"), core: ln("80031-8", "Left ventricular posterior wall diastolic thickness"), mode: twoDimensional, view: parasternalLong, Label: "LVPWd"},
	{Measurand: "left-ventricular-internal-diameter-systole", section: LeftVentricle, Kind: Length, concept: ln("29438-9", "Left Ventricle Internal Systolic Dimension"), core: ln("80011-0", "Left ventricular internal systolic dimension - 2D"), mode: twoDimensional, view: parasternalLong, Label: "LVIDs"},
	{Measurand: "left-ventricular-fractional-shortening", section: LeftVentricle, Kind: Fraction, concept: ln("18051-3", "Left Ventricular Fractional Shortening"), core: ln("29434-8", "Left ventricular fractional shortening (of minor axis) (2D)"), mode: twoDimensional, view: parasternalLong, Label: "FS"},
	{Measurand: "left-ventricular-mass", section: LeftVentricle, Kind: mass, concept: ln("18087-7", "Left Ventricle Mass"), core: ln("80019-3", "Left ventricular mass (dimension method) 2D"), mode: twoDimensional, view: parasternalLong, Label: "LV mass"},
	{Measurand: "left-ventricular-mass-index", section: LeftVentricle, Kind: massIndex, core: ln("80020-1", "Left ventricular mass (dimension method) 2D / BSA"), mode: twoDimensional, view: parasternalLong, Label: "LV mass index"},
	{Measurand: "left-ventricular-end-diastolic-volume-biplane", section: LeftVentricle, Kind: volume, concept: ln("18026-5", "Left Ventricular End Diastolic Volume"), method: biplaneDiscs, core: ln("79996-5", "Left ventricular end diastolic volume biplane (MOD)"), mode: twoDimensional, Label: "EDV biplane"},
	{Measurand: "left-ventricular-end-systolic-volume-biplane", section: LeftVentricle, Kind: volume, concept: ln("18148-7", "Left Ventricular End Systolic Volume"), method: biplaneDiscs, core: ln("80001-1", "Left ventricular end systolic volume biplane (MOD)"), mode: twoDimensional, Label: "ESV biplane"},
	{Measurand: "left-ventricular-ejection-fraction-biplane", section: LeftVentricle, Kind: Fraction, concept: ln("18043-0", "Left Ventricular Ejection Fraction by US"), method: biplaneDiscs, core: ln("79991-6", "Left ventricular ejection fraction biplane (MOD)"), mode: twoDimensional, Label: "EF biplane"},
	{Measurand: "left-ventricular-ejection-fraction-cube", section: LeftVentricle, Kind: Fraction, concept: ln("18043-0", "Left Ventricular Ejection Fraction by US"), method: cubeMethod, mode: twoDimensional, view: parasternalLong, Label: "EF cube"},
	{Measurand: "left-ventricular-end-diastolic-volume-four-chamber", section: LeftVentricle, Kind: volume, concept: ln("18026-5", "Left Ventricular End Diastolic Volume"), method: singleDiscs, core: ln("79999-9", "Left ventricular end diastolic volume single plane 4C (MOD)"), mode: twoDimensional, view: ApicalFour, Label: "EDV A4C"},
	{Measurand: "left-ventricular-end-systolic-volume-four-chamber", section: LeftVentricle, Kind: volume, concept: ln("18148-7", "Left Ventricular End Systolic Volume"), method: singleDiscs, core: ln("80004-5", "Left ventricular end systolic volume single plane 4C (MOD)"), mode: twoDimensional, view: ApicalFour, Label: "ESV A4C"},
	{Measurand: "left-ventricular-end-diastolic-volume-two-chamber", section: LeftVentricle, Kind: volume, concept: ln("18026-5", "Left Ventricular End Diastolic Volume"), method: singleDiscs, core: ln("79998-1", "Left ventricular end diastolic volume single plane 2C (MOD)"), mode: twoDimensional, view: apicalTwo, Label: "EDV A2C"},
	{Measurand: "left-ventricular-end-systolic-volume-two-chamber", section: LeftVentricle, Kind: volume, concept: ln("18148-7", "Left Ventricular End Systolic Volume"), method: singleDiscs, core: ln("80003-7", "Left ventricular end systolic volume single plane 2C (MOD)"), mode: twoDimensional, view: apicalTwo, Label: "ESV A2C"},
	{Measurand: "left-ventricular-end-diastolic-volume-index", section: LeftVentricle, Kind: volumeIndex, core: ln("79997-3", "Left ventricular end diastolic volume biplane (MOD) / BSA"), mode: twoDimensional, Label: "EDV index"},
	{Measurand: "left-ventricular-end-systolic-volume-index", section: LeftVentricle, Kind: volumeIndex, core: ln("80002-9", "Left ventricular end systolic volume biplane (MOD) / BSA"), mode: twoDimensional, Label: "ESV index"},
	{Measurand: "left-ventricular-global-longitudinal-strain-peak-mean", section: LeftVentricle, Kind: StrainKind, core: DcmCode("130694", "LV Peak GLS Multiview Mean (Endocardial)"), mode: speckle, Label: "GLS"},
	{Measurand: "lvot-diameter", section: LeftVentricle, Kind: Length, concept: orificeSpan, site: outflowTract, core: ln("80028-4", "Left ventricular outflow tract dimension (2D)"), mode: twoDimensional, view: parasternalLong, Label: "LVOT diam"},
	{Measurand: "lvot-peak-velocity", section: LeftVentricle, Kind: BloodVelocity, concept: peakVelocity, site: outflowTract, core: ln("80029-2", "Left ventricular outflow tract Vmax"), mode: pulsedWave, view: apicalLong, Label: "LVOT Vmax"},
	{Measurand: "lvot-velocity-time-integral", section: LeftVentricle, Kind: Integral, concept: velocityTime, site: outflowTract, core: ln("80030-0", "Left ventricular outflow tract VTI"), mode: pulsedWave, view: apicalLong, Label: "LVOT VTI"},
	{Measurand: "stroke-volume-lvot", section: LeftVentricle, Kind: volume, concept: strokeVolume, site: outflowTract, method: volumeFlow, mode: pulsedWave, Label: "SV"},
	{Measurand: "stroke-volume-biplane", section: LeftVentricle, Kind: volume, concept: strokeVolume, method: biplaneDiscs, mode: twoDimensional, Label: "SV biplane"},
	{Measurand: "septum-to-posterior-wall-ratio", section: LeftVentricle, Kind: ratio, concept: ln("18155-2", "Interventricular Septum to Posterior Wall Thickness Ratio"), mode: twoDimensional, view: parasternalLong, Label: "IVS/PW"},
	{Measurand: "stroke-volume-index-lvot", section: LeftVentricle, Kind: volumeIndex, concept: sct("277381004", "F-00078", "Stroke Index"), site: outflowTract, method: volumeFlow, mode: pulsedWave, Label: "SV index"},
	{Measurand: "cardiac-output-lvot", section: LeftVentricle, Kind: output, concept: cardiacOutput, site: outflowTract, method: volumeFlow, mode: pulsedWave, Label: "CO"},
	{Measurand: "cardiac-index-lvot", section: LeftVentricle, Kind: outputIndex, concept: sct("54993008", "F-32110", "Cardiac Index"), site: outflowTract, method: volumeFlow, mode: pulsedWave, Label: "CI"},
	{Measurand: "mitral-annular-velocity-e-prime-septal", section: LeftVentricle, Kind: TissueVelocity, concept: tissueEarly, site: septalAnnulus, core: ln("79911-4", "Mitral septal e-prime Vmax"), mode: tissueDoppler, view: ApicalFour, Label: "e' septal"},
	{Measurand: "mitral-annular-velocity-e-prime-lateral", section: LeftVentricle, Kind: TissueVelocity, concept: tissueEarly, site: lateralAnnulus, core: ln("80054-0", "Mitral lateral e-prime Vmax"), mode: tissueDoppler, view: ApicalFour, Label: "e' lateral"},
	{Measurand: "mitral-e-to-e-prime-ratio-septal", section: LeftVentricle, Kind: ratio, concept: tissueRatio, site: septalAnnulus, mode: tissueDoppler, Label: "E/e' septal"},
	{Measurand: "mitral-e-to-e-prime-ratio-lateral", section: LeftVentricle, Kind: ratio, concept: tissueRatio, site: lateralAnnulus, mode: tissueDoppler, Label: "E/e' lateral"},
	{Measurand: "mitral-annular-velocity-s-prime-septal", section: LeftVentricle, Kind: TissueVelocity, concept: sct("399167005", "G-037D", "Left Ventricular Peak Systolic Tissue Velocity"), site: septalAnnulus, mode: tissueDoppler, view: ApicalFour, Label: "s' septal"},
	{Measurand: "left-ventricular-isovolumic-relaxation-time", section: LeftVentricle, Kind: Interval, concept: ln("18071-1", "Left Ventricular Isovolumic Relaxation Time"), core: ln("18071-1", "Left ventricular isovolumic relaxation time by Doppler"), mode: pulsedWave, view: apicalLong, Label: "IVRT"},

	{Measurand: "left-atrial-anteroposterior-diameter", section: leftAtrium, Kind: Length, concept: ln("29469-4", "Left Atrium Antero-posterior Systolic Dimension"), core: ln("79975-9", "Left atrial end systolic diameter (AP) 2D"), mode: twoDimensional, view: parasternalLong, Label: "LA AP"},
	{Measurand: "left-atrial-area-four-chamber", section: leftAtrium, Kind: Area, concept: ln("17977-0", "Left Atrium Area A4C view"), core: ln("79974-2", "Left atrial end systolic area 4C"), mode: twoDimensional, view: ApicalFour, Label: "LA area A4C"},
	{Measurand: "left-atrial-area-two-chamber", section: leftAtrium, Kind: Area, core: ln("79973-4", "Left atrial end systolic area 2C"), mode: twoDimensional, view: apicalTwo, Label: "LA area A2C"},
	{Measurand: "left-atrial-length-four-chamber", section: leftAtrium, Kind: Length, core: ln("79980-9", "Left atrial end systolic length 4C"), mode: twoDimensional, view: ApicalFour, Label: "LA length"},
	{Measurand: "left-atrial-volume-biplane-area-length", section: leftAtrium, Kind: volume, concept: sct("399235004", "G-0383", "Left Atrium Systolic Volume"), method: areaLength, core: ln("79981-7", "Left atrial end systolic volume biplane (area-length)"), mode: twoDimensional, Label: "LA volume"},
	{Measurand: "left-atrial-volume-index-biplane-area-length", section: leftAtrium, Kind: volumeIndex, core: ln("79982-5", "Left atrial end systolic volume biplane (area-length) / BSA"), mode: twoDimensional, Label: "LA volume index"},

	{Measurand: "mitral-valve-e-wave-velocity", section: mitralValve, Kind: BloodVelocity, concept: ln("18037-2", "Mitral Valve E-Wave Peak Velocity"), core: ln("80070-6", "Mitral valve E-wave Vmax"), mode: pulsedWave, view: ApicalFour, Label: "MV E"},
	{Measurand: "mitral-valve-area-planimetry", section: mitralValve, Kind: Area, concept: orificeArea, flow: antegrade, method: planimetry, core: ln("80068-0", "Mitral valve area planimetry"), mode: twoDimensional, Label: "MVA plan"},
	{Measurand: "mitral-valve-area-continuity", section: mitralValve, Kind: Area, concept: orificeArea, flow: antegrade, method: continuity, mode: continuousWave, Label: "MVA cont"},
	{Measurand: "mitral-valve-area-pressure-half-time", section: mitralValve, Kind: Area, concept: orificeArea, flow: antegrade, method: halfTimeMethod, mode: continuousWave, Label: "MVA PHT"},
	{Measurand: "mitral-regurgitation-fraction", section: mitralValve, Kind: Fraction, concept: regurgitantFraction, core: ln("80055-7", "Mitral valve regurgitant fraction"), Label: "MR RF"},
	{Measurand: "mitral-valve-a-wave-velocity", section: mitralValve, Kind: BloodVelocity, concept: ln("17978-8", "Mitral Valve A-Wave Peak Velocity"), core: ln("80066-4", "Mitral valve A-wave Vmax"), mode: pulsedWave, view: ApicalFour, Label: "MV A"},
	{Measurand: "mitral-valve-e-to-a-ratio", section: mitralValve, Kind: ratio, concept: ln("18038-0", "Mitral Valve E to A Ratio"), core: ln("18038-0", "Mitral valve E-to-A ratio"), mode: pulsedWave, view: ApicalFour, Label: "MV E/A"},
	{Measurand: "mitral-valve-deceleration-time", section: mitralValve, Kind: Interval, concept: sct("399354002", "G-0384", "Mitral Valve E-Wave Deceleration Time"), core: ln("78191-4", "Mitral valve deceleration time"), mode: pulsedWave, view: ApicalFour, Label: "MV DT"},
	{Measurand: "mitral-regurgitation-peak-velocity", section: mitralValve, Kind: BloodVelocity, concept: peakVelocity, flow: retrograde, core: ln("80062-3", "Mitral regurgitation Vmax"), mode: continuousWave, view: ApicalFour, Label: "MR Vmax"},
	{Measurand: "mitral-regurgitation-velocity-time-integral", section: mitralValve, Kind: Integral, concept: velocityTime, flow: retrograde, mode: continuousWave, view: ApicalFour, Label: "MR VTI"},
	{Measurand: "mitral-regurgitation-pisa-radius", section: mitralValve, Kind: Length, core: ln("80059-9", "Mitral regurgitation PISA radius"), mode: colourDoppler, view: ApicalFour, Label: "MR PISA radius"},
	{Measurand: "mitral-regurgitation-pisa-velocity", section: mitralValve, Kind: BloodVelocity, core: ln("80060-7", "Mitral regurgitation PISA velocity"), mode: colourDoppler, view: ApicalFour, Label: "MR alias velocity"},
	{Measurand: "mitral-regurgitation-effective-orifice-area", section: mitralValve, Kind: Area, concept: orificeArea, flow: retrograde, method: isovelocity, core: ln("80071-4", "Mitral valve effective regurgitant orifice area (PISA)"), mode: colourDoppler, Label: "MR EROA"},
	{Measurand: "mitral-regurgitation-volume", section: mitralValve, Kind: volume, concept: flowVolume, site: mitralAnnulus, flow: retrograde, method: isovelocity, core: ln("80064-9", "Mitral regurgitation volume (PISA)"), mode: colourDoppler, Label: "MR volume"},
	{Measurand: "mitral-regurgitation-vena-contracta-width", section: mitralValve, Kind: Length, core: ln("80061-5", "Mitral regurgitation vena contracta width"), mode: colourDoppler, view: parasternalLong, Label: "MR VC"},

	{Measurand: "pulmonary-vein-systolic-velocity", section: pulmonaryVein, Kind: BloodVelocity, concept: ln("29450-4", "Pulmonary Vein Systolic Peak Velocity"), core: ln("79917-1", "Pulmonary vein S-wave Vmax"), mode: pulsedWave, view: ApicalFour, Label: "PV S"},
	{Measurand: "pulmonary-vein-diastolic-velocity", section: pulmonaryVein, Kind: BloodVelocity, concept: ln("29451-2", "Pulmonary Vein Diastolic Peak Velocity"), core: ln("79916-3", "Pulmonary vein D-wave Vmax"), mode: pulsedWave, view: ApicalFour, Label: "PV D"},

	{Measurand: "aortic-valve-peak-velocity", section: aorticValve, Kind: BloodVelocity, concept: peakVelocity, flow: antegrade, core: ln("79964-3", "Aortic valve Vmax"), mode: continuousWave, view: apicalLong, Label: "AV Vmax"},
	{Measurand: "aortic-valve-velocity-time-integral", section: aorticValve, Kind: Integral, concept: velocityTime, flow: antegrade, core: ln("79965-0", "Aortic valve VTI"), mode: continuousWave, view: apicalLong, Label: "AV VTI"},
	{Measurand: "aortic-valve-peak-gradient", section: aorticValve, Kind: pressure, concept: peakGradient, flow: antegrade, core: ln("79963-5", "Aortic valve peak instantaneous gradient"), mode: continuousWave, view: apicalLong, Label: "AV peak grad"},
	{Measurand: "aortic-regurgitation-fraction", section: aorticValve, Kind: Fraction, concept: regurgitantFraction, core: ln("79942-9", "Aortic valve regurgitant fraction"), Label: "AR RF"},
	{Measurand: "aortic-valve-mean-gradient", section: aorticValve, Kind: pressure, concept: meanGradient, flow: antegrade, core: ln("79962-7", "Aortic valve mean gradient"), mode: continuousWave, view: apicalLong, Label: "AV mean grad"},
	{Measurand: "aortic-valve-area-continuity", section: aorticValve, Kind: Area, concept: orificeArea, flow: antegrade, method: continuityByVTI, core: ln("79958-5", "Aortic valve area (Continuity VTI)"), mode: continuousWave, Label: "AVA"},
	{Measurand: "aortic-valve-area-index", section: aorticValve, Kind: areaIndex, core: ln("79959-3", "Aortic valve area (Continuity VTI) / BSA"), mode: continuousWave, Label: "AVA index"},
	{Measurand: "aortic-annulus-diameter", section: aorticValve, Kind: Length, concept: orificeSpan, site: aorticRing, flow: antegrade, core: ln("79940-3", "Aortic annulus diameter"), mode: twoDimensional, view: parasternalLong, Label: "Ao annulus"},
	{Measurand: "aortic-root-diameter", section: aorta, Kind: Length, concept: ln("18015-8", "Aortic Root Diameter"), core: ln("79953-6", "Aortic root diameter"), mode: twoDimensional, view: parasternalLong, Label: "Ao root"},
	{Measurand: "sinotubular-junction-diameter", section: aorta, Kind: Length, core: ln("79955-1", "Aortic sinotubular junction dimension"), mode: twoDimensional, view: parasternalLong, Label: "STJ"},
	{Measurand: "ascending-aorta-diameter", section: aorta, Kind: Length, concept: ln("18012-5", "Ascending Aortic Diameter"), core: ln("79966-8", "Ascending Aorta Dimension"), mode: twoDimensional, view: parasternalLong, Label: "Asc Ao"},
	{Measurand: "aortic-arch-diameter", section: aorta, Kind: Length, concept: ln("18011-7", "Aortic Arch Diameter"), mode: twoDimensional, view: suprasternalLong, Label: "Ao arch"},
}

// rightHeart is the second half of the list.
var rightHeart = []quantity{
	{Measurand: "right-ventricular-basal-diameter", section: rightVentricle, Kind: Length, core: ln("80080-5", "Right ventricular basal dimension 4C"), mode: twoDimensional, view: apicalFocused, Label: "RVD1"},
	{Measurand: "right-ventricular-mid-diameter", section: rightVentricle, Kind: Length, core: ln("80085-4", "Right ventricular mid-cavity dimension 4C"), mode: twoDimensional, view: apicalFocused, Label: "RVD2"},
	{Measurand: "right-ventricular-area-diastole", section: rightVentricle, Kind: Area, core: ln("80081-3", "Right ventricular end diastolic area 4C"), mode: twoDimensional, view: apicalFocused, Label: "RV EDA"},
	{Measurand: "right-ventricular-area-systole", section: rightVentricle, Kind: Area, core: ln("80082-1", "Right ventricular end systolic area 4C"), mode: twoDimensional, view: apicalFocused, Label: "RV ESA"},
	{Measurand: "right-ventricular-fractional-area-change", section: rightVentricle, Kind: Fraction, core: ln("79936-1", "Right ventricular fractional area change"), mode: twoDimensional, view: apicalFocused, Label: "FAC"},
	{Measurand: "right-ventricular-wall-thickness-diastole", section: rightVentricle, Kind: Length, core: ln("80083-9", "Right ventricular free wall thickness 2D"), mode: twoDimensional, view: SubcostalLong, Label: "RV wall"},
	{Measurand: "tricuspid-annular-plane-systolic-excursion", section: rightVentricle, Kind: Length, core: ln("77903-3", "Tricuspid Annular Plane Systolic Excursion (TAPSE)"), mode: mMode, view: ApicalFour, Label: "TAPSE"},
	{Measurand: "tricuspid-annular-velocity-s-prime", section: rightVentricle, Kind: TissueVelocity, core: ln("79926-2", "Tricuspid valve s-prime Vmax"), mode: tissueDoppler, view: ApicalFour, Label: "S'"},
	{Measurand: "tricuspid-valve-closure-to-opening-time", section: TricuspidValve, Kind: Interval, concept: sct("399282006", "G-0389", "Tricuspid Valve Closure to Opening Time"), core: ln("79930-4", "Tricuspid valve closure to opening time"), mode: pulsedWave, view: ApicalFour, Label: "TCO"},
	{Measurand: "right-ventricular-ejection-time", section: rightVentricle, Kind: Interval, core: ln("79929-6", "Right ventricular ejection time"), mode: pulsedWave, view: ShortAxisBase, Label: "RV ET"},
	{Measurand: "right-ventricular-performance-index", section: rightVentricle, Kind: ratio, concept: sct("399154007", "G-0381", "Right Ventricular Index of Myocardial Performance"), core: ln("80086-2", "Right ventricular myocardial performance index"), mode: pulsedWave, Label: "RIMP"},
	{Measurand: "right-ventricular-systolic-pressure", section: rightVentricle, Kind: pressure, concept: sct("399023006", "G-0380", "Right Ventricular Peak Systolic Pressure"), mode: continuousWave, Label: "RVSP"},
	{Measurand: "rvot-diameter-distal", section: rightVentricle, Kind: Length, core: ln("80087-0", "Right ventricular outflow tract diameter at pulmonic valve (RVOT-Distal)"), mode: twoDimensional, view: ShortAxisBase, Label: "RVOT distal"},
	{Measurand: "rvot-velocity-time-integral", section: rightVentricle, Kind: Integral, concept: velocityTime, site: rightOutflowTract, core: ln("80089-6", "Right ventricular outflow tract VTI"), mode: pulsedWave, view: ShortAxisBase, Label: "RVOT VTI"},
	{Measurand: "rvot-peak-velocity", section: rightVentricle, Kind: BloodVelocity, concept: peakVelocity, site: rightOutflowTract, mode: pulsedWave, view: ShortAxisBase, Label: "RVOT Vmax"},
	{Measurand: "rvot-peak-gradient", section: rightVentricle, Kind: pressure, concept: peakGradient, site: rightOutflowTract, mode: pulsedWave, view: ShortAxisBase, Label: "RVOT PG"},
	{Measurand: "rvot-area", section: rightVentricle, Kind: Area, concept: orificeArea, site: rightOutflowTract, mode: twoDimensional, view: ShortAxisBase, Label: "RVOT area"},

	{Measurand: "right-atrial-area", section: rightAtrium, Kind: Area, concept: ln("17988-7", "Right Atrium Area A4C view"), core: ln("80075-5", "Right atrial end systolic area 4C"), mode: twoDimensional, view: ApicalFour, Label: "RA area"},
	{Measurand: "right-atrial-pressure", section: rightAtrium, Kind: pressure, concept: ln("18070-3", "Right Atrium Systolic Pressure"), Label: "RAP"},
	{Measurand: "inferior-vena-cava-diameter-expiration", section: cava, Kind: Length, concept: cavaDiameter, mode: twoDimensional, view: SubcostalLong, Label: "IVC exp"},
	{Measurand: "inferior-vena-cava-diameter-inspiration", section: cava, Kind: Length, concept: cavaDiameter, mode: twoDimensional, view: SubcostalLong, Label: "IVC insp"},
	{Measurand: "inferior-vena-cava-collapse", section: cava, Kind: Fraction, concept: ln("18050-5", "Inferior Vena Cava % Collapse"), mode: twoDimensional, view: SubcostalLong, Label: "IVC collapse"},
	{Measurand: "hepatic-vein-systolic-velocity", section: hepaticVein, Kind: BloodVelocity, concept: ln("29471-0", "Hepatic Vein Systolic Peak Velocity"), mode: pulsedWave, view: SubcostalLong, Label: "HV S"},
	{Measurand: "hepatic-vein-diastolic-velocity", section: hepaticVein, Kind: BloodVelocity, concept: ln("29472-8", "Hepatic Vein Diastolic Peak Velocity"), mode: pulsedWave, view: SubcostalLong, Label: "HV D"},

	{Measurand: "tricuspid-valve-e-wave-velocity", section: TricuspidValve, Kind: BloodVelocity, concept: ln("18031-5", "Tricuspid Valve E Wave Peak Velocity"), core: ln("79925-4", "Tricuspid valve E-wave Vmax"), mode: pulsedWave, view: ApicalFour, Label: "TV E"},
	{Measurand: "tricuspid-valve-a-wave-velocity", section: TricuspidValve, Kind: BloodVelocity, concept: ln("18030-7", "Tricuspid Valve A Wave Peak Velocity"), core: ln("79923-9", "Tricuspid valve A-wave Vmax"), mode: pulsedWave, view: ApicalFour, Label: "TV A"},
	{Measurand: "tricuspid-valve-e-to-a-ratio", section: TricuspidValve, Kind: ratio, concept: ln("18039-8", "Tricuspid Valve E to A Ratio"), mode: pulsedWave, view: ApicalFour, Label: "TV E/A"},
	{Measurand: "tricuspid-valve-deceleration-time", section: TricuspidValve, Kind: Interval, concept: ln("20217-6", "Deceleration Time"), flow: antegrade, core: ln("79931-2", "Tricuspid valve deceleration time"), mode: pulsedWave, view: ApicalFour, Label: "TV DT"},
	{Measurand: "tricuspid-valve-pressure-half-time", section: TricuspidValve, Kind: Interval, concept: ln("20280-4", "Pressure Half-Time"), flow: antegrade, core: ln("18032-3", "Tricuspid valve pressure half-time"), mode: continuousWave, view: ApicalFour, Label: "TV PHT"},
	{Measurand: "tricuspid-valve-inflow-velocity-time-integral", section: TricuspidValve, Kind: Integral, concept: velocityTime, flow: antegrade, core: ln("18175-0", "Tricuspid valve diastolic VTI"), mode: continuousWave, view: ApicalFour, Label: "TV VTI"},
	{Measurand: "tricuspid-valve-mean-gradient", section: TricuspidValve, Kind: pressure, concept: meanGradient, flow: antegrade, core: ln("79938-7", "Tricuspid valve mean gradient"), mode: continuousWave, view: ApicalFour, Label: "TV mean grad"},
	{Measurand: "tricuspid-valve-area-continuity", section: TricuspidValve, Kind: Area, concept: orificeArea, flow: antegrade, method: continuity, mode: continuousWave, Label: "TVA cont"},
	{Measurand: "tricuspid-valve-area-pressure-half-time", section: TricuspidValve, Kind: Area, concept: orificeArea, flow: antegrade, method: halfTimeMethod, mode: continuousWave, Label: "TVA PHT"},
	{Measurand: "tricuspid-annulus-diameter-diastole", section: TricuspidValve, Kind: Length, concept: orificeSpan, site: tricuspidAnnulus, flow: antegrade, core: ln("80091-2", "Tricuspid annulus diameter"), phase: endDiastole, mode: twoDimensional, view: apicalFocused, Label: "TV annulus"},
	{Measurand: "tricuspid-annulus-diameter-systole", section: TricuspidValve, Kind: Length, concept: orificeSpan, site: tricuspidAnnulus, flow: antegrade, phase: endSystole, mode: twoDimensional, view: apicalFocused, Label: "TV annulus s"},
	{Measurand: "tricuspid-e-to-e-prime-ratio", section: TricuspidValve, Kind: ratio, concept: ln("59111-5", "Ratio of Peak Velocity to Peak Tissue Velocity, E-Wave"), site: tricuspidAnnulus, mode: pulsedWave, view: ApicalFour, Label: "TV E/e'"},
	{Measurand: "tricuspid-regurgitation-fraction", section: TricuspidValve, Kind: Fraction, concept: regurgitantFraction, Label: "TR RF"},
	{Measurand: "tricuspid-annular-velocity-e-prime", section: TricuspidValve, Kind: TissueVelocity, core: ln("79924-7", "Tricuspid valve e-prime Vmax"), mode: tissueDoppler, view: ApicalFour, Label: "TV e'"},
	{Measurand: "tricuspid-regurgitation-peak-velocity", section: TricuspidValve, Kind: BloodVelocity, concept: peakVelocity, flow: retrograde, core: ln("79921-3", "Tricuspid regurgitation Vmax"), mode: continuousWave, Label: "TR Vmax"},
	{Measurand: "tricuspid-regurgitation-peak-gradient", section: TricuspidValve, Kind: pressure, concept: peakGradient, flow: retrograde, core: ln("79937-9", "Tricuspid regurgitation peak gradient"), mode: continuousWave, Label: "TR grad"},
	{Measurand: "tricuspid-regurgitation-velocity-time-integral", section: TricuspidValve, Kind: Integral, concept: velocityTime, flow: retrograde, mode: continuousWave, view: ApicalFour, Label: "TR VTI"},
	{Measurand: "tricuspid-regurgitation-vena-contracta-width", section: TricuspidValve, Kind: Length, core: ln("79933-8", "Tricuspid regurgitation vena contracta width"), mode: colourDoppler, view: ApicalFour, Label: "TR VC"},
	{Measurand: "tricuspid-regurgitation-pisa-radius", section: TricuspidValve, Kind: Length, core: ln("79932-0", "Tricuspid regurgitation PISA radius"), mode: colourDoppler, view: ApicalFour, Label: "TR PISA radius"},
	{Measurand: "tricuspid-regurgitation-pisa-velocity", section: TricuspidValve, Kind: BloodVelocity, concept: aliasVelocity, flow: retrograde, mode: colourDoppler, view: ApicalFour, Label: "TR alias velocity"},
	{Measurand: "tricuspid-regurgitation-effective-orifice-area", section: TricuspidValve, Kind: Area, concept: orificeArea, flow: retrograde, method: isovelocity, mode: colourDoppler, Label: "TR EROA"},
	{Measurand: "tricuspid-regurgitation-volume", section: TricuspidValve, Kind: volume, concept: flowVolume, site: tricuspidAnnulus, flow: retrograde, method: isovelocity, mode: colourDoppler, Label: "TR volume"},

	{Measurand: "tricuspid-regurgitation-vena-contracta-area", section: TricuspidValve, Kind: Area, concept: sct("42798000", "G-A166", "Area"), site: venaContracta, mode: threeD, Label: "TR 3D VCA"},
	{Measurand: "right-ventricular-free-wall-strain", section: rightVentricle, Kind: StrainKind, concept: DcmCode("130670", "Longitudinal strain"), site: rightAnteriorWall, mode: speckle, view: apicalFocused, Label: "RV FWS"},

	{Measurand: "pulmonary-valve-peak-velocity", section: pulmonaryValve, Kind: BloodVelocity, concept: peakVelocity, flow: antegrade, core: ln("79920-5", "Pulmonic valve Vmax"), mode: continuousWave, view: ShortAxisBase, Label: "PV Vmax"},
	{Measurand: "pulmonary-valve-peak-gradient", section: pulmonaryValve, Kind: pressure, concept: peakGradient, flow: antegrade, core: ln("79935-3", "Pulmonic valve peak gradient"), mode: continuousWave, view: ShortAxisBase, Label: "PV peak grad"},
	{Measurand: "rvot-acceleration-time", section: pulmonaryValve, Kind: Interval, concept: ln("20168-1", "Acceleration Time"), flow: antegrade, core: ln("79928-8", "Pulmonic valve acceleration time"), mode: pulsedWave, view: ShortAxisBase, Label: "PV AT"},
	{Measurand: "pulmonary-regurgitation-end-diastolic-velocity", section: pulmonaryValve, Kind: BloodVelocity, concept: ln("11653-3", "End Diastolic Velocity"), flow: retrograde, core: ln("79918-9", "Pulmonic regurgitation end diastolic velocity"), mode: continuousWave, view: ShortAxisBase, Label: "PR end-diast V"},
	{Measurand: "pulmonary-regurgitation-peak-velocity", section: pulmonaryValve, Kind: BloodVelocity, concept: peakVelocity, flow: retrograde, core: ln("79919-7", "Pulmonic regurgitation Vmax"), mode: continuousWave, view: ShortAxisBase, Label: "PR Vmax"},
	{Measurand: "pulmonary-regurgitation-pressure-half-time", section: pulmonaryValve, Kind: Interval, concept: ln("20280-4", "Pressure Half-Time"), flow: retrograde, mode: continuousWave, view: ShortAxisBase, Label: "PR PHT"},
	{Measurand: "pulmonary-regurgitation-jet-width", section: pulmonaryValve, Kind: Length, concept: DcmCode("125333", "Regurgitation Jet Width"), mode: colourDoppler, view: ShortAxisBase, Label: "PR jet width"},
	{Measurand: "pulmonary-annulus-diameter", section: pulmonaryValve, Kind: Length, concept: orificeSpan, site: pulmonaryRing, core: ln("79909-8", "Pulmonic annulus diameter"), mode: twoDimensional, view: ShortAxisBase, Label: "PV annulus"},
	{Measurand: "aortic-valve-velocity-index", section: aorticValve, Kind: ratio, concept: ln("93632-8", "Left ventricular outflow tract/Aortic valve VTI"), mode: continuousWave, Label: "DVI"},
	{Measurand: "aortic-regurgitation-vena-contracta-width", section: aorticValve, Kind: Length, core: ln("79948-6", "Aortic regurgitation vena contracta width"), mode: colourDoppler, view: parasternalLong, Label: "AR VC"},
	{Measurand: "main-pulmonary-artery-diameter", section: pulmonaryArtery, Kind: Length, concept: ln("18020-8", "Main Pulmonary Artery Diameter"), core: ln("80049-0", "Main pulmonary artery diameter"), mode: twoDimensional, view: ShortAxisBase, Label: "MPA"},
}

// QuantityOf finds a measurand in the two lists.
func QuantityOf(measurand string) quantity {
	for _, list := range [][]quantity{quantities, rightHeart} {
		for _, q := range list {
			if q.Measurand == measurand {
				return q
			}
		}
	}
	panic("internal error: no demo quantity " + measurand)
}
