package demo

// kind is the dimension of a quantity and decides unit and decimals in a
// dialect. The model's own units stand in the comments.
type kind int

const (
	length         kind = iota // cm
	area                       // cm2
	volume                     // mL
	bloodVelocity              // m/s
	tissueVelocity             // cm/s
	integral                   // cm
	pressure                   // mm[Hg]
	interval                   // ms
	rate                       // 1/min
	fraction                   // %
	ratio                      // 1
	mass                       // g
	output                     // L/min
	volumeIndex                // mL/m2
	massIndex                  // g/m2
	areaIndex                  // cm2/m2
	lengthIndex                // mm/m2
	outputIndex                // L/min/m2
	surface                    // m2
	stature                    // cm
	bodyMass                   // kg
	years                      // a
	strainKind                 // %
)

// quantity says how a measurand is coded: the concept name with its modifiers
// as PS3.17 N.3 composes them, and the concept of CID 12300 when there is one.
type quantity struct {
	measurand    string
	section      term
	kind         kind
	concept      code // of TID 5200; empty when only CID 12300 has it
	core         code // of CID 12300
	site         term
	flow, method term
	phase        term // cardiac cycle point
	mode, view   term // as the laboratory takes it
	label        string
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
	{measurand: "interventricular-septum-thickness-diastole", section: leftVentricle, kind: length, concept: ln("18154-5", "Interventricular Septum Diastolic Thickness"), core: ln("79969-2", "Interventricular septum diastolic dimension 2D"), mode: twoDimensional, view: parasternalLong, label: "IVSd"},
	{measurand: "left-ventricular-internal-diameter-diastole", section: leftVentricle, kind: length, concept: ln("29436-3", "Left Ventricle Internal End Diastolic Dimension"), core: ln("80007-8", "Left ventricular internal diastolic dimension - 2D"), mode: twoDimensional, view: parasternalLong, label: "LVIDd"},
	{measurand: "left-ventricular-posterior-wall-thickness-diastole", section: leftVentricle, kind: length, concept: ln("18152-9", "Left Ventricle Posterior Wall Diastolic Thickness"), core: ln("80031-8", "Left ventricular posterior wall diastolic thickness"), mode: twoDimensional, view: parasternalLong, label: "LVPWd"},
	{measurand: "left-ventricular-internal-diameter-systole", section: leftVentricle, kind: length, concept: ln("29438-9", "Left Ventricle Internal Systolic Dimension"), core: ln("80011-0", "Left ventricular internal systolic dimension - 2D"), mode: twoDimensional, view: parasternalLong, label: "LVIDs"},
	{measurand: "left-ventricular-fractional-shortening", section: leftVentricle, kind: fraction, concept: ln("18051-3", "Left Ventricular Fractional Shortening"), core: ln("29434-8", "Left ventricular fractional shortening (of minor axis) (2D)"), mode: twoDimensional, view: parasternalLong, label: "FS"},
	{measurand: "left-ventricular-mass", section: leftVentricle, kind: mass, concept: ln("18087-7", "Left Ventricle Mass"), core: ln("80019-3", "Left ventricular mass (dimension method) 2D"), mode: twoDimensional, view: parasternalLong, label: "LV mass"},
	{measurand: "left-ventricular-mass-index", section: leftVentricle, kind: massIndex, core: ln("80020-1", "Left ventricular mass (dimension method) 2D / BSA"), mode: twoDimensional, view: parasternalLong, label: "LV mass index"},
	{measurand: "left-ventricular-end-diastolic-volume-biplane", section: leftVentricle, kind: volume, concept: ln("18026-5", "Left Ventricular End Diastolic Volume"), method: biplaneDiscs, core: ln("79996-5", "Left ventricular end diastolic volume biplane (MOD)"), mode: twoDimensional, label: "EDV biplane"},
	{measurand: "left-ventricular-end-systolic-volume-biplane", section: leftVentricle, kind: volume, concept: ln("18148-7", "Left Ventricular End Systolic Volume"), method: biplaneDiscs, core: ln("80001-1", "Left ventricular end systolic volume biplane (MOD)"), mode: twoDimensional, label: "ESV biplane"},
	{measurand: "left-ventricular-ejection-fraction-biplane", section: leftVentricle, kind: fraction, concept: ln("18043-0", "Left Ventricular Ejection Fraction by US"), method: biplaneDiscs, core: ln("79991-6", "Left ventricular ejection fraction biplane (MOD)"), mode: twoDimensional, label: "EF biplane"},
	{measurand: "left-ventricular-ejection-fraction-cube", section: leftVentricle, kind: fraction, concept: ln("18043-0", "Left Ventricular Ejection Fraction by US"), method: cubeMethod, mode: twoDimensional, view: parasternalLong, label: "EF cube"},
	{measurand: "left-ventricular-end-diastolic-volume-four-chamber", section: leftVentricle, kind: volume, concept: ln("18026-5", "Left Ventricular End Diastolic Volume"), method: singleDiscs, core: ln("79999-9", "Left ventricular end diastolic volume single plane 4C (MOD)"), mode: twoDimensional, view: apicalFour, label: "EDV A4C"},
	{measurand: "left-ventricular-end-systolic-volume-four-chamber", section: leftVentricle, kind: volume, concept: ln("18148-7", "Left Ventricular End Systolic Volume"), method: singleDiscs, core: ln("80004-5", "Left ventricular end systolic volume single plane 4C (MOD)"), mode: twoDimensional, view: apicalFour, label: "ESV A4C"},
	{measurand: "left-ventricular-end-diastolic-volume-two-chamber", section: leftVentricle, kind: volume, concept: ln("18026-5", "Left Ventricular End Diastolic Volume"), method: singleDiscs, core: ln("79998-1", "Left ventricular end diastolic volume single plane 2C (MOD)"), mode: twoDimensional, view: apicalTwo, label: "EDV A2C"},
	{measurand: "left-ventricular-end-systolic-volume-two-chamber", section: leftVentricle, kind: volume, concept: ln("18148-7", "Left Ventricular End Systolic Volume"), method: singleDiscs, core: ln("80003-7", "Left ventricular end systolic volume single plane 2C (MOD)"), mode: twoDimensional, view: apicalTwo, label: "ESV A2C"},
	{measurand: "left-ventricular-end-diastolic-volume-index", section: leftVentricle, kind: volumeIndex, core: ln("79997-3", "Left ventricular end diastolic volume biplane (MOD) / BSA"), mode: twoDimensional, label: "EDV index"},
	{measurand: "left-ventricular-end-systolic-volume-index", section: leftVentricle, kind: volumeIndex, core: ln("80002-9", "Left ventricular end systolic volume biplane (MOD) / BSA"), mode: twoDimensional, label: "ESV index"},
	{measurand: "left-ventricular-global-longitudinal-strain-peak-mean", section: leftVentricle, kind: strainKind, core: dcmCode("130694", "LV Peak GLS Multiview Mean (Endocardial)"), mode: speckle, label: "GLS"},
	{measurand: "lvot-diameter", section: leftVentricle, kind: length, concept: orificeSpan, site: outflowTract, core: ln("80028-4", "Left ventricular outflow tract dimension (2D)"), mode: twoDimensional, view: parasternalLong, label: "LVOT diam"},
	{measurand: "lvot-peak-velocity", section: leftVentricle, kind: bloodVelocity, concept: peakVelocity, site: outflowTract, core: ln("80029-2", "Left ventricular outflow tract Vmax"), mode: pulsedWave, view: apicalLong, label: "LVOT Vmax"},
	{measurand: "lvot-velocity-time-integral", section: leftVentricle, kind: integral, concept: velocityTime, site: outflowTract, core: ln("80030-0", "Left ventricular outflow tract VTI"), mode: pulsedWave, view: apicalLong, label: "LVOT VTI"},
	{measurand: "stroke-volume-lvot", section: leftVentricle, kind: volume, concept: strokeVolume, site: outflowTract, method: volumeFlow, mode: pulsedWave, label: "SV"},
	{measurand: "stroke-volume-biplane", section: leftVentricle, kind: volume, concept: strokeVolume, method: biplaneDiscs, mode: twoDimensional, label: "SV biplane"},
	{measurand: "septum-to-posterior-wall-ratio", section: leftVentricle, kind: ratio, concept: ln("18155-2", "Interventricular Septum to Posterior Wall Thickness Ratio"), mode: twoDimensional, view: parasternalLong, label: "IVS/PW"},
	{measurand: "stroke-volume-index-lvot", section: leftVentricle, kind: volumeIndex, concept: sct("277381004", "F-00078", "Stroke Index"), site: outflowTract, method: volumeFlow, mode: pulsedWave, label: "SV index"},
	{measurand: "cardiac-output-lvot", section: leftVentricle, kind: output, concept: cardiacOutput, site: outflowTract, method: volumeFlow, mode: pulsedWave, label: "CO"},
	{measurand: "cardiac-index-lvot", section: leftVentricle, kind: outputIndex, concept: sct("54993008", "F-32110", "Cardiac Index"), site: outflowTract, method: volumeFlow, mode: pulsedWave, label: "CI"},
	{measurand: "mitral-annular-velocity-e-prime-septal", section: leftVentricle, kind: tissueVelocity, concept: tissueEarly, site: septalAnnulus, core: ln("79911-4", "Mitral septal e-prime Vmax"), mode: tissueDoppler, view: apicalFour, label: "e' septal"},
	{measurand: "mitral-annular-velocity-e-prime-lateral", section: leftVentricle, kind: tissueVelocity, concept: tissueEarly, site: lateralAnnulus, core: ln("80054-0", "Mitral lateral e-prime Vmax"), mode: tissueDoppler, view: apicalFour, label: "e' lateral"},
	{measurand: "mitral-e-to-e-prime-ratio-septal", section: leftVentricle, kind: ratio, concept: tissueRatio, site: septalAnnulus, mode: tissueDoppler, label: "E/e' septal"},
	{measurand: "mitral-e-to-e-prime-ratio-lateral", section: leftVentricle, kind: ratio, concept: tissueRatio, site: lateralAnnulus, mode: tissueDoppler, label: "E/e' lateral"},
	{measurand: "mitral-annular-velocity-s-prime-septal", section: leftVentricle, kind: tissueVelocity, concept: sct("399167005", "G-037D", "Left Ventricular Peak Systolic Tissue Velocity"), site: septalAnnulus, mode: tissueDoppler, view: apicalFour, label: "s' septal"},
	{measurand: "left-ventricular-isovolumic-relaxation-time", section: leftVentricle, kind: interval, concept: ln("18071-1", "Left Ventricular Isovolumic Relaxation Time"), core: ln("18071-1", "Left ventricular isovolumic relaxation time by Doppler"), mode: pulsedWave, view: apicalLong, label: "IVRT"},

	{measurand: "left-atrial-anteroposterior-diameter", section: leftAtrium, kind: length, concept: ln("29469-4", "Left Atrium Antero-posterior Systolic Dimension"), core: ln("79975-9", "Left atrial end systolic diameter (AP) 2D"), mode: twoDimensional, view: parasternalLong, label: "LA AP"},
	{measurand: "left-atrial-area-four-chamber", section: leftAtrium, kind: area, concept: ln("17977-0", "Left Atrium Area A4C view"), core: ln("79974-2", "Left atrial end systolic area 4C"), mode: twoDimensional, view: apicalFour, label: "LA area A4C"},
	{measurand: "left-atrial-area-two-chamber", section: leftAtrium, kind: area, core: ln("79973-4", "Left atrial end systolic area 2C"), mode: twoDimensional, view: apicalTwo, label: "LA area A2C"},
	{measurand: "left-atrial-length-four-chamber", section: leftAtrium, kind: length, core: ln("79980-9", "Left atrial end systolic length 4C"), mode: twoDimensional, view: apicalFour, label: "LA length"},
	{measurand: "left-atrial-volume-biplane-area-length", section: leftAtrium, kind: volume, concept: sct("399235004", "G-0383", "Left Atrium Systolic Volume"), method: areaLength, core: ln("79981-7", "Left atrial end systolic volume biplane (area-length)"), mode: twoDimensional, label: "LA volume"},
	{measurand: "left-atrial-volume-index-biplane-area-length", section: leftAtrium, kind: volumeIndex, core: ln("79982-5", "Left atrial end systolic volume biplane (area-length) / BSA"), mode: twoDimensional, label: "LA volume index"},

	{measurand: "mitral-valve-e-wave-velocity", section: mitralValve, kind: bloodVelocity, concept: ln("18037-2", "Mitral Valve E-Wave Peak Velocity"), core: ln("80070-6", "Mitral valve E-wave Vmax"), mode: pulsedWave, view: apicalFour, label: "MV E"},
	{measurand: "mitral-valve-area-planimetry", section: mitralValve, kind: area, concept: orificeArea, flow: antegrade, method: planimetry, core: ln("80068-0", "Mitral valve area planimetry"), mode: twoDimensional, label: "MVA plan"},
	{measurand: "mitral-valve-area-continuity", section: mitralValve, kind: area, concept: orificeArea, flow: antegrade, method: continuity, mode: continuousWave, label: "MVA cont"},
	{measurand: "mitral-regurgitation-fraction", section: mitralValve, kind: fraction, concept: regurgitantFraction, core: ln("80055-7", "Mitral valve regurgitant fraction"), label: "MR RF"},
	{measurand: "mitral-valve-a-wave-velocity", section: mitralValve, kind: bloodVelocity, concept: ln("17978-8", "Mitral Valve A-Wave Peak Velocity"), core: ln("80066-4", "Mitral valve A-wave Vmax"), mode: pulsedWave, view: apicalFour, label: "MV A"},
	{measurand: "mitral-valve-e-to-a-ratio", section: mitralValve, kind: ratio, concept: ln("18038-0", "Mitral Valve E to A Ratio"), core: ln("18038-0", "Mitral valve E-to-A ratio"), mode: pulsedWave, view: apicalFour, label: "MV E/A"},
	{measurand: "mitral-valve-deceleration-time", section: mitralValve, kind: interval, concept: sct("399354002", "G-0384", "Mitral Valve E-Wave Deceleration Time"), core: ln("78191-4", "Mitral valve deceleration time"), mode: pulsedWave, view: apicalFour, label: "MV DT"},
	{measurand: "mitral-regurgitation-peak-velocity", section: mitralValve, kind: bloodVelocity, concept: peakVelocity, flow: retrograde, core: ln("80062-3", "Mitral regurgitation Vmax"), mode: continuousWave, view: apicalFour, label: "MR Vmax"},
	{measurand: "mitral-regurgitation-velocity-time-integral", section: mitralValve, kind: integral, concept: velocityTime, flow: retrograde, mode: continuousWave, view: apicalFour, label: "MR VTI"},
	{measurand: "mitral-regurgitation-pisa-radius", section: mitralValve, kind: length, core: ln("80059-9", "Mitral regurgitation PISA radius"), mode: colourDoppler, view: apicalFour, label: "MR PISA radius"},
	{measurand: "mitral-regurgitation-pisa-velocity", section: mitralValve, kind: bloodVelocity, core: ln("80060-7", "Mitral regurgitation PISA velocity"), mode: colourDoppler, view: apicalFour, label: "MR alias velocity"},
	{measurand: "mitral-regurgitation-effective-orifice-area", section: mitralValve, kind: area, concept: orificeArea, flow: retrograde, method: isovelocity, core: ln("80071-4", "Mitral valve effective regurgitant orifice area (PISA)"), mode: colourDoppler, label: "MR EROA"},
	{measurand: "mitral-regurgitation-volume", section: mitralValve, kind: volume, concept: flowVolume, site: mitralAnnulus, flow: retrograde, method: isovelocity, core: ln("80064-9", "Mitral regurgitation volume (PISA)"), mode: colourDoppler, label: "MR volume"},
	{measurand: "mitral-regurgitation-vena-contracta-width", section: mitralValve, kind: length, core: ln("80061-5", "Mitral regurgitation vena contracta width"), mode: colourDoppler, view: parasternalLong, label: "MR VC"},

	{measurand: "pulmonary-vein-systolic-velocity", section: pulmonaryVein, kind: bloodVelocity, concept: ln("29450-4", "Pulmonary Vein Systolic Peak Velocity"), core: ln("79917-1", "Pulmonary vein S-wave Vmax"), mode: pulsedWave, view: apicalFour, label: "PV S"},
	{measurand: "pulmonary-vein-diastolic-velocity", section: pulmonaryVein, kind: bloodVelocity, concept: ln("29451-2", "Pulmonary Vein Diastolic Peak Velocity"), core: ln("79916-3", "Pulmonary vein D-wave Vmax"), mode: pulsedWave, view: apicalFour, label: "PV D"},

	{measurand: "aortic-valve-peak-velocity", section: aorticValve, kind: bloodVelocity, concept: peakVelocity, flow: antegrade, core: ln("79964-3", "Aortic valve Vmax"), mode: continuousWave, view: apicalLong, label: "AV Vmax"},
	{measurand: "aortic-valve-velocity-time-integral", section: aorticValve, kind: integral, concept: velocityTime, flow: antegrade, core: ln("79965-0", "Aortic valve VTI"), mode: continuousWave, view: apicalLong, label: "AV VTI"},
	{measurand: "aortic-valve-peak-gradient", section: aorticValve, kind: pressure, concept: peakGradient, flow: antegrade, core: ln("79963-5", "Aortic valve peak instantaneous gradient"), mode: continuousWave, view: apicalLong, label: "AV peak grad"},
	{measurand: "aortic-regurgitation-fraction", section: aorticValve, kind: fraction, concept: regurgitantFraction, core: ln("79942-9", "Aortic valve regurgitant fraction"), label: "AR RF"},
	{measurand: "aortic-valve-mean-gradient", section: aorticValve, kind: pressure, concept: meanGradient, flow: antegrade, core: ln("79962-7", "Aortic valve mean gradient"), mode: continuousWave, view: apicalLong, label: "AV mean grad"},
	{measurand: "aortic-valve-area-continuity", section: aorticValve, kind: area, concept: orificeArea, flow: antegrade, method: continuityByVTI, core: ln("79958-5", "Aortic valve area (Continuity VTI)"), mode: continuousWave, label: "AVA"},
	{measurand: "aortic-valve-area-index", section: aorticValve, kind: areaIndex, core: ln("79959-3", "Aortic valve area (Continuity VTI) / BSA"), mode: continuousWave, label: "AVA index"},
	{measurand: "aortic-annulus-diameter", section: aorticValve, kind: length, concept: orificeSpan, site: aorticRing, flow: antegrade, core: ln("79940-3", "Aortic annulus diameter"), mode: twoDimensional, view: parasternalLong, label: "Ao annulus"},
	{measurand: "aortic-root-diameter", section: aorta, kind: length, concept: ln("18015-8", "Aortic Root Diameter"), core: ln("79953-6", "Aortic root diameter"), mode: twoDimensional, view: parasternalLong, label: "Ao root"},
	{measurand: "sinotubular-junction-diameter", section: aorta, kind: length, core: ln("79955-1", "Aortic sinotubular junction dimension"), mode: twoDimensional, view: parasternalLong, label: "STJ"},
	{measurand: "ascending-aorta-diameter", section: aorta, kind: length, concept: ln("18012-5", "Ascending Aortic Diameter"), core: ln("79966-8", "Ascending Aorta Dimension"), mode: twoDimensional, view: parasternalLong, label: "Asc Ao"},
	{measurand: "aortic-arch-diameter", section: aorta, kind: length, concept: ln("18011-7", "Aortic Arch Diameter"), mode: twoDimensional, view: suprasternalLong, label: "Ao arch"},
}

// rightHeart is the second half of the list.
var rightHeart = []quantity{
	{measurand: "right-ventricular-basal-diameter", section: rightVentricle, kind: length, core: ln("80080-5", "Right ventricular basal dimension 4C"), mode: twoDimensional, view: apicalFocused, label: "RVD1"},
	{measurand: "right-ventricular-mid-diameter", section: rightVentricle, kind: length, core: ln("80085-4", "Right ventricular mid-cavity dimension 4C"), mode: twoDimensional, view: apicalFocused, label: "RVD2"},
	{measurand: "right-ventricular-area-diastole", section: rightVentricle, kind: area, core: ln("80081-3", "Right ventricular end diastolic area 4C"), mode: twoDimensional, view: apicalFocused, label: "RV EDA"},
	{measurand: "right-ventricular-area-systole", section: rightVentricle, kind: area, core: ln("80082-1", "Right ventricular end systolic area 4C"), mode: twoDimensional, view: apicalFocused, label: "RV ESA"},
	{measurand: "right-ventricular-fractional-area-change", section: rightVentricle, kind: fraction, core: ln("79936-1", "Right ventricular fractional area change"), mode: twoDimensional, view: apicalFocused, label: "FAC"},
	{measurand: "right-ventricular-wall-thickness-diastole", section: rightVentricle, kind: length, core: ln("80083-9", "Right ventricular free wall thickness 2D"), mode: twoDimensional, view: subcostalLong, label: "RV wall"},
	{measurand: "tricuspid-annular-plane-systolic-excursion", section: rightVentricle, kind: length, core: ln("77903-3", "Tricuspid Annular Plane Systolic Excursion (TAPSE)"), mode: mMode, view: apicalFour, label: "TAPSE"},
	{measurand: "tricuspid-annular-velocity-s-prime", section: rightVentricle, kind: tissueVelocity, core: ln("79926-2", "Tricuspid valve s-prime Vmax"), mode: tissueDoppler, view: apicalFour, label: "S'"},
	{measurand: "tricuspid-valve-closure-to-opening-time", section: tricuspidValve, kind: interval, concept: sct("399282006", "G-0389", "Tricuspid Valve Closure to Opening Time"), core: ln("79930-4", "Tricuspid valve closure to opening time"), mode: pulsedWave, view: apicalFour, label: "TCO"},
	{measurand: "right-ventricular-ejection-time", section: rightVentricle, kind: interval, core: ln("79929-6", "Right ventricular ejection time"), mode: pulsedWave, view: shortAxisBase, label: "RV ET"},
	{measurand: "right-ventricular-performance-index", section: rightVentricle, kind: ratio, concept: sct("399154007", "G-0381", "Right Ventricular Index of Myocardial Performance"), core: ln("80086-2", "Right ventricular myocardial performance index"), mode: pulsedWave, label: "RIMP"},
	{measurand: "right-ventricular-systolic-pressure", section: rightVentricle, kind: pressure, concept: sct("399023006", "G-0380", "Right Ventricular Peak Systolic Pressure"), mode: continuousWave, label: "RVSP"},
	{measurand: "rvot-diameter-distal", section: rightVentricle, kind: length, core: ln("80087-0", "Right ventricular outflow tract diameter at pulmonic valve (RVOT-Distal)"), mode: twoDimensional, view: shortAxisBase, label: "RVOT distal"},
	{measurand: "rvot-velocity-time-integral", section: rightVentricle, kind: integral, concept: velocityTime, site: rightOutflowTract, core: ln("80089-6", "Right ventricular outflow tract VTI"), mode: pulsedWave, view: shortAxisBase, label: "RVOT VTI"},
	{measurand: "rvot-peak-velocity", section: rightVentricle, kind: bloodVelocity, concept: peakVelocity, site: rightOutflowTract, mode: pulsedWave, view: shortAxisBase, label: "RVOT Vmax"},
	{measurand: "rvot-peak-gradient", section: rightVentricle, kind: pressure, concept: peakGradient, site: rightOutflowTract, mode: pulsedWave, view: shortAxisBase, label: "RVOT PG"},
	{measurand: "rvot-area", section: rightVentricle, kind: area, concept: orificeArea, site: rightOutflowTract, mode: twoDimensional, view: shortAxisBase, label: "RVOT area"},

	{measurand: "right-atrial-area", section: rightAtrium, kind: area, concept: ln("17988-7", "Right Atrium Area A4C view"), core: ln("80075-5", "Right atrial end systolic area 4C"), mode: twoDimensional, view: apicalFour, label: "RA area"},
	{measurand: "right-atrial-pressure", section: rightAtrium, kind: pressure, concept: ln("18070-3", "Right Atrium Systolic Pressure"), label: "RAP"},
	{measurand: "inferior-vena-cava-diameter-expiration", section: cava, kind: length, concept: cavaDiameter, mode: twoDimensional, view: subcostalLong, label: "IVC exp"},
	{measurand: "inferior-vena-cava-diameter-inspiration", section: cava, kind: length, concept: cavaDiameter, mode: twoDimensional, view: subcostalLong, label: "IVC insp"},
	{measurand: "inferior-vena-cava-collapse", section: cava, kind: fraction, concept: ln("18050-5", "Inferior Vena Cava % Collapse"), mode: twoDimensional, view: subcostalLong, label: "IVC collapse"},
	{measurand: "hepatic-vein-systolic-velocity", section: hepaticVein, kind: bloodVelocity, concept: ln("29471-0", "Hepatic Vein Systolic Peak Velocity"), mode: pulsedWave, view: subcostalLong, label: "HV S"},
	{measurand: "hepatic-vein-diastolic-velocity", section: hepaticVein, kind: bloodVelocity, concept: ln("29472-8", "Hepatic Vein Diastolic Peak Velocity"), mode: pulsedWave, view: subcostalLong, label: "HV D"},

	{measurand: "tricuspid-valve-e-wave-velocity", section: tricuspidValve, kind: bloodVelocity, concept: ln("18031-5", "Tricuspid Valve E Wave Peak Velocity"), core: ln("79925-4", "Tricuspid valve E-wave Vmax"), mode: pulsedWave, view: apicalFour, label: "TV E"},
	{measurand: "tricuspid-valve-a-wave-velocity", section: tricuspidValve, kind: bloodVelocity, concept: ln("18030-7", "Tricuspid Valve A Wave Peak Velocity"), core: ln("79923-9", "Tricuspid valve A-wave Vmax"), mode: pulsedWave, view: apicalFour, label: "TV A"},
	{measurand: "tricuspid-valve-e-to-a-ratio", section: tricuspidValve, kind: ratio, concept: ln("18039-8", "Tricuspid Valve E to A Ratio"), mode: pulsedWave, view: apicalFour, label: "TV E/A"},
	{measurand: "tricuspid-valve-deceleration-time", section: tricuspidValve, kind: interval, concept: ln("20217-6", "Deceleration Time"), flow: antegrade, core: ln("79931-2", "Tricuspid valve deceleration time"), mode: pulsedWave, view: apicalFour, label: "TV DT"},
	{measurand: "tricuspid-valve-pressure-half-time", section: tricuspidValve, kind: interval, concept: ln("20280-4", "Pressure Half-Time"), flow: antegrade, core: ln("18032-3", "Tricuspid valve pressure half-time"), mode: continuousWave, view: apicalFour, label: "TV PHT"},
	{measurand: "tricuspid-valve-inflow-velocity-time-integral", section: tricuspidValve, kind: integral, concept: velocityTime, flow: antegrade, core: ln("18175-0", "Tricuspid valve diastolic VTI"), mode: continuousWave, view: apicalFour, label: "TV VTI"},
	{measurand: "tricuspid-valve-mean-gradient", section: tricuspidValve, kind: pressure, concept: meanGradient, flow: antegrade, core: ln("79938-7", "Tricuspid valve mean gradient"), mode: continuousWave, view: apicalFour, label: "TV mean grad"},
	{measurand: "tricuspid-valve-area-continuity", section: tricuspidValve, kind: area, concept: orificeArea, flow: antegrade, method: continuity, mode: continuousWave, label: "TVA cont"},
	{measurand: "tricuspid-valve-area-pressure-half-time", section: tricuspidValve, kind: area, concept: orificeArea, flow: antegrade, method: halfTimeMethod, mode: continuousWave, label: "TVA PHT"},
	{measurand: "tricuspid-annulus-diameter-diastole", section: tricuspidValve, kind: length, concept: orificeSpan, site: tricuspidAnnulus, flow: antegrade, core: ln("80091-2", "Tricuspid annulus diameter"), phase: endDiastole, mode: twoDimensional, view: apicalFocused, label: "TV annulus"},
	{measurand: "tricuspid-annulus-diameter-systole", section: tricuspidValve, kind: length, concept: orificeSpan, site: tricuspidAnnulus, flow: antegrade, phase: endSystole, mode: twoDimensional, view: apicalFocused, label: "TV annulus s"},
	{measurand: "tricuspid-e-to-e-prime-ratio", section: tricuspidValve, kind: ratio, concept: ln("59111-5", "Ratio of Peak Velocity to Peak Tissue Velocity, E-Wave"), site: tricuspidAnnulus, mode: pulsedWave, view: apicalFour, label: "TV E/e'"},
	{measurand: "tricuspid-regurgitation-fraction", section: tricuspidValve, kind: fraction, concept: regurgitantFraction, label: "TR RF"},
	{measurand: "tricuspid-annular-velocity-e-prime", section: tricuspidValve, kind: tissueVelocity, core: ln("79924-7", "Tricuspid valve e-prime Vmax"), mode: tissueDoppler, view: apicalFour, label: "TV e'"},
	{measurand: "tricuspid-regurgitation-peak-velocity", section: tricuspidValve, kind: bloodVelocity, concept: peakVelocity, flow: retrograde, core: ln("79921-3", "Tricuspid regurgitation Vmax"), mode: continuousWave, label: "TR Vmax"},
	{measurand: "tricuspid-regurgitation-peak-gradient", section: tricuspidValve, kind: pressure, concept: peakGradient, flow: retrograde, core: ln("79937-9", "Tricuspid regurgitation peak gradient"), mode: continuousWave, label: "TR grad"},
	{measurand: "tricuspid-regurgitation-velocity-time-integral", section: tricuspidValve, kind: integral, concept: velocityTime, flow: retrograde, mode: continuousWave, view: apicalFour, label: "TR VTI"},
	{measurand: "tricuspid-regurgitation-vena-contracta-width", section: tricuspidValve, kind: length, core: ln("79933-8", "Tricuspid regurgitation vena contracta width"), mode: colourDoppler, view: apicalFour, label: "TR VC"},
	{measurand: "tricuspid-regurgitation-pisa-radius", section: tricuspidValve, kind: length, core: ln("79932-0", "Tricuspid regurgitation PISA radius"), mode: colourDoppler, view: apicalFour, label: "TR PISA radius"},
	{measurand: "tricuspid-regurgitation-pisa-velocity", section: tricuspidValve, kind: bloodVelocity, concept: aliasVelocity, flow: retrograde, mode: colourDoppler, view: apicalFour, label: "TR alias velocity"},
	{measurand: "tricuspid-regurgitation-effective-orifice-area", section: tricuspidValve, kind: area, concept: orificeArea, flow: retrograde, method: isovelocity, mode: colourDoppler, label: "TR EROA"},
	{measurand: "tricuspid-regurgitation-volume", section: tricuspidValve, kind: volume, concept: flowVolume, site: tricuspidAnnulus, flow: retrograde, method: isovelocity, mode: colourDoppler, label: "TR volume"},

	{measurand: "pulmonary-valve-peak-velocity", section: pulmonaryValve, kind: bloodVelocity, concept: peakVelocity, flow: antegrade, core: ln("79920-5", "Pulmonic valve Vmax"), mode: continuousWave, view: shortAxisBase, label: "PV Vmax"},
	{measurand: "pulmonary-valve-peak-gradient", section: pulmonaryValve, kind: pressure, concept: peakGradient, flow: antegrade, core: ln("79935-3", "Pulmonic valve peak gradient"), mode: continuousWave, view: shortAxisBase, label: "PV peak grad"},
	{measurand: "rvot-acceleration-time", section: pulmonaryValve, kind: interval, concept: ln("20168-1", "Acceleration Time"), flow: antegrade, core: ln("79928-8", "Pulmonic valve acceleration time"), mode: pulsedWave, view: shortAxisBase, label: "PV AT"},
	{measurand: "pulmonary-regurgitation-end-diastolic-velocity", section: pulmonaryValve, kind: bloodVelocity, concept: ln("11653-3", "End Diastolic Velocity"), flow: retrograde, core: ln("79918-9", "Pulmonic regurgitation end diastolic velocity"), mode: continuousWave, view: shortAxisBase, label: "PR end-diast V"},
	{measurand: "pulmonary-regurgitation-peak-velocity", section: pulmonaryValve, kind: bloodVelocity, concept: peakVelocity, flow: retrograde, core: ln("79919-7", "Pulmonic regurgitation Vmax"), mode: continuousWave, view: shortAxisBase, label: "PR Vmax"},
	{measurand: "main-pulmonary-artery-diameter", section: pulmonaryArtery, kind: length, concept: ln("18020-8", "Main Pulmonary Artery Diameter"), core: ln("80049-0", "Main pulmonary artery diameter"), mode: twoDimensional, view: shortAxisBase, label: "MPA"},
}

// quantityOf finds a measurand in the two lists.
func quantityOf(measurand string) quantity {
	for _, list := range [][]quantity{quantities, rightHeart} {
		for _, q := range list {
			if q.measurand == measurand {
				return q
			}
		}
	}
	panic("internal error: no demo quantity " + measurand)
}
