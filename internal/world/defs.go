package world

// kind tells the physical kind of a measurement; canonical units in brackets.
type kind int

const (
	kLen   kind = iota // length [cm]
	kFine              // small width [cm]
	kVel               // blood velocity [m/s]
	kTis               // tissue velocity [cm/s]
	kPress             // pressure and gradient [mmHg]
	kTime              // time [ms]
	kVol               // volume [mL]
	kArea              // area [cm2]
	kOrif              // regurgitant orifice [cm2]
	kMass              // mass [g]
	kRatio             // ratio [1]
	kPct               // percent [%]
	kVTI               // velocity time integral [cm]
	kRate              // heart rate [1/min]
	kFlow              // flow [L/min]
	kIVol              // volume index [mL/m2]
	kIMass             // mass index [g/m2]
	kIArea             // area index [cm2/m2]
	kIFlow             // flow index [L/min/m2]
	kWU                // resistance [Wood units]
	kDPDT              // [mmHg/s]
	kAlias             // aliasing velocity [cm/s]
	kCoup              // [mm/mmHg]
)

// def describes one measurement: where it belongs, how it is coded in the
// post-coordinated style (code plus modifier tokens), its pre-coordinated
// code from CID 12300 or CID 12257 (pre) and its measured property in
// CID 12304 (prop, with divisor after '/').
type def struct {
	key, sec   string
	kind       kind
	dec        int     // decimals shown in the canonical unit
	n          int     // usual number of beats
	cv         float64 // beat-to-beat scatter, fraction
	code, mods string
	pre, prop  string
}

// Beat scatter: a fraction of the inter-observer figures in
// reproducibility.csv (Ferrara 2021: TRV 3.8 %, LVOT VTI 7.4 %, TAPSE 5.3 %,
// E 5.7 %, e' 6 %; Otto 1989: AV Vmax 3.2 %); single-trace re-reads in sinus
// rhythm are much tighter (consistency.md, tolerances 2).
var defs = []def{
	{"HR", "LV", kRate, 0, 1, 0, "LN 8867-4 Heart rate", "", "", "SCT 385673002 Interval"},
	{"RR", "LV", kTime, 0, 1, 0, "DCM 122182 R-R interval", "", "", "SCT 385673002 Interval"},
	{"LVIDd", "LV", kLen, 2, 3, .008, "LN 29436-3 Left Ventricle Internal End Diastolic Dimension", "mode:2D", "LN 80007-8 Left ventricular internal diastolic dimension - 2D", "LN 59090-1 Internal Dimension"},
	{"LVIDs", "LV", kLen, 2, 3, .010, "LN 29438-9 Left Ventricle Internal Systolic Dimension", "mode:2D", "LN 80011-0 Left ventricular internal systolic dimension - 2D", "LN 59090-1 Internal Dimension"},
	{"IVSd", "LV", kLen, 2, 3, .012, "LN 18154-5 Interventricular Septum Diastolic Thickness", "mode:2D", "LN 79969-2 Interventricular septum diastolic dimension 2D", "LN 59089-3 Thickness"},
	{"PWd", "LV", kLen, 2, 3, .012, "LN 18152-9 Left Ventricle Posterior Wall Diastolic Thickness", "mode:2D", "LN 80031-8 Left ventricular posterior wall diastolic thickness", "LN 59089-3 Thickness"},
	{"LVIDdMM", "LV", kLen, 2, 1, .01, "LN 29436-3 Left Ventricle Internal End Diastolic Dimension", "mode:MM", "LN 80008-6 Left ventricular internal diastolic dimension - MM", "LN 59090-1 Internal Dimension"},
	{"LVIDsMM", "LV", kLen, 2, 1, .01, "LN 29438-9 Left Ventricle Internal Systolic Dimension", "mode:MM", "LN 80012-8 Left ventricular internal systolic dimension - MM", "LN 59090-1 Internal Dimension"},
	{"FS", "LV", kPct, 0, 1, 0, "LN 18051-3 Left Ventricular Fractional Shortening", "mode:2D", "LN 29434-8 Left ventricular fractional shortening (of minor axis) (2D)", "LN 59132-1 Fractional Shortening"},
	{"EFTei", "LV", kPct, 0, 1, 0, "LN 18043-0 Left Ventricular Ejection Fraction by US", "meth:TEI mode:2D", "LN 77891-0 Left ventricular ejection fraction (Teichholz) 2D", "SCT 70822001 Cardiac Ejection Fraction"},
	{"EDV", "LV", kVol, 0, 1, .01, "LN 18026-5 Left Ventricular End Diastolic Volume", "meth:BP mode:2D", "LN 79996-5 Left ventricular end diastolic volume biplane (MOD)", "SCT 118565006 Volume"},
	{"ESV", "LV", kVol, 0, 1, .01, "LN 18148-7 Left Ventricular End Systolic Volume", "meth:BP mode:2D", "LN 80001-1 Left ventricular end systolic volume biplane (MOD)", "SCT 118565006 Volume"},
	{"EF", "LV", kPct, 0, 1, 0, "LN 18043-0 Left Ventricular Ejection Fraction by US", "meth:BP mode:2D", "LN 79991-6 Left ventricular ejection fraction biplane (MOD)", "SCT 70822001 Cardiac Ejection Fraction"},
	{"EDV4", "LV", kVol, 0, 1, .01, "LN 18026-5 Left Ventricular End Diastolic Volume", "meth:SP mode:2D view:A4C", "LN 79999-9 Left ventricular end diastolic volume single plane 4C (MOD)", "SCT 118565006 Volume"},
	{"ESV4", "LV", kVol, 0, 1, .01, "LN 18148-7 Left Ventricular End Systolic Volume", "meth:SP mode:2D view:A4C", "LN 80004-5 Left ventricular end systolic volume single plane 4C (MOD)", "SCT 118565006 Volume"},
	{"EF4", "LV", kPct, 0, 1, 0, "LN 18043-0 Left Ventricular Ejection Fraction by US", "meth:SP mode:2D view:A4C", "LN 79993-2 Left ventricular ejection fraction single plane 4C (MOD)", "SCT 70822001 Cardiac Ejection Fraction"},
	{"EDV2", "LV", kVol, 0, 1, .01, "LN 18026-5 Left Ventricular End Diastolic Volume", "meth:SP mode:2D view:A2C", "LN 79998-1 Left ventricular end diastolic volume single plane 2C (MOD)", "SCT 118565006 Volume"},
	{"ESV2", "LV", kVol, 0, 1, .01, "LN 18148-7 Left Ventricular End Systolic Volume", "meth:SP mode:2D view:A2C", "LN 80003-7 Left ventricular end systolic volume single plane 2C (MOD)", "SCT 118565006 Volume"},
	{"EDV3", "LV", kVol, 0, 1, 0, "LN 18026-5 Left Ventricular End Diastolic Volume", "mode:3D", "LN 79995-7 Left ventricular end diastolic volume (3D)", "SCT 118565006 Volume"},
	{"ESV3", "LV", kVol, 0, 1, 0, "LN 18148-7 Left Ventricular End Systolic Volume", "mode:3D", "LN 80000-3 Left ventricular end systolic volume (3D)", "SCT 118565006 Volume"},
	{"EF3", "LV", kPct, 0, 1, 0, "LN 18043-0 Left Ventricular Ejection Fraction by US", "mode:3D", "LN 79990-8 Left ventricular ejection fraction 3D", "SCT 70822001 Cardiac Ejection Fraction"},
	{"EDVi", "LV", kIVol, 0, 1, 0, "LN 79997-3 Left ventricular end diastolic volume biplane (MOD) / BSA", "", "LN 79997-3 Left ventricular end diastolic volume biplane (MOD) / BSA", "SCT 118565006 Volume/LN 8277-6 Body Surface Area"},
	{"ESVi", "LV", kIVol, 0, 1, 0, "LN 80002-9 Left ventricular end systolic volume biplane (MOD) / BSA", "", "LN 80002-9 Left ventricular end systolic volume biplane (MOD) / BSA", "SCT 118565006 Volume/LN 8277-6 Body Surface Area"},
	{"Mass", "LV", kMass, 0, 1, 0, "LN 18087-7 Left Ventricle Mass", "meth:CUBE mode:2D", "LN 80019-3 Left ventricular mass (dimension method) 2D", "SCT 118538004 Mass"},
	{"MassI", "LV", kIMass, 0, 1, 0, "LN 80020-1 Left ventricular mass (dimension method) 2D / BSA", "", "LN 80020-1 Left ventricular mass (dimension method) 2D / BSA", "SCT 118538004 Mass/LN 8277-6 Body Surface Area"},
	{"RWT", "LV", kRatio, 2, 1, 0, "", "mode:2D", "", "LN 59089-3 Thickness/LN 29436-3 Left Ventricle Internal End Diastolic Dimension"},
	{"GLS", "LV", kPct, 1, 1, 0, "DCM 130690 LV Peak Systolic GLS Multiview Mean (Endocardial)", "", "DCM 130690 LV Peak Systolic GLS Multiview Mean (Endocardial)", "DCM 130671 Peak Longitudinal Lagrangian Strain"},
	{"ePs", "LV", kTis, 1, 3, .02, "SCT 399133000 Left Ventricular Peak Early Diastolic Tissue Velocity", "site:MEDA mode:TDI", "LN 79911-4 Mitral septal e-prime Vmax", "DCM 125330 Peak Tissue Velocity"},
	{"ePl", "LV", kTis, 1, 3, .02, "SCT 399133000 Left Ventricular Peak Early Diastolic Tissue Velocity", "site:LATA mode:TDI", "LN 80054-0 Mitral lateral e-prime Vmax", "DCM 125330 Peak Tissue Velocity"},
	{"Ees", "LV", kRatio, 1, 1, 0, "SCT 399140004 Ratio of MV Peak Velocity to LV Peak Tissue Velocity E-Wave", "site:MEDA", "", "LN 20355-4 Peak Blood Velocity/SCT 399133000 Left Ventricular Peak Early Diastolic Tissue Velocity"},
	{"Eel", "LV", kRatio, 1, 1, 0, "SCT 399140004 Ratio of MV Peak Velocity to LV Peak Tissue Velocity E-Wave", "site:LATA", "", "LN 20355-4 Peak Blood Velocity/SCT 399133000 Left Ventricular Peak Early Diastolic Tissue Velocity"},
	{"Eea", "LV", kRatio, 1, 1, 0, "SCT 399140004 Ratio of MV Peak Velocity to LV Peak Tissue Velocity E-Wave", "site:MANN", "", "LN 20355-4 Peak Blood Velocity/SCT 399133000 Left Ventricular Peak Early Diastolic Tissue Velocity"},
	{"IVRT", "LV", kTime, 0, 1, .03, "LN 18071-1 Left Ventricular Isovolumic Relaxation Time", "mode:PW", "LN 18071-1 Left ventricular isovolumic relaxation time by Doppler", "SCT 385673002 Interval"},
	{"LVOTd", "LV", kLen, 2, 3, .008, "SCT 399027007 Cardiovascular Orifice Diameter", "site:LVOT mode:2D", "LN 80028-4 Left ventricular outflow tract dimension (2D)", "SCT 81827009 Diameter"},
	{"LVOTv", "LV", kVel, 2, 3, .012, "LN 11726-7 Peak Systolic Velocity", "site:LVOT mode:PW", "LN 80029-2 Left ventricular outflow tract Vmax", "LN 20355-4 Peak Blood Velocity"},
	{"LVOTvti", "LV", kVTI, 1, 3, .014, "LN 20354-7 Velocity Time Integral", "site:LVOT mode:PW", "LN 80030-0 Left ventricular outflow tract VTI", "LN 20354-7 Velocity Time Integral"},
	{"LVOTpg", "LV", kPress, 0, 1, 0, "LN 20247-3 Peak Gradient", "site:LVOT mode:CW", "", "LN 20247-3 Peak Gradient [Pressure]"},
	{"SV", "LV", kVol, 0, 1, 0, "SCT 90096001 Stroke Volume", "site:LVOT meth:DVF", "", "SCT 90096001 Stroke Volume"},
	{"SVi", "LV", kIVol, 0, 1, 0, "SCT 277381004 Stroke Index", "site:LVOT meth:DVF", "", "SCT 90096001 Stroke Volume/LN 8277-6 Body Surface Area"},
	{"CO", "LV", kFlow, 1, 1, 0, "SCT 82799009 Cardiac Output", "site:LVOT meth:DVF", "", "SCT 82799009 Cardiac Output"},
	{"CI", "LV", kIFlow, 1, 1, 0, "SCT 54993008 Cardiac Index", "site:LVOT meth:DVF", "", "SCT 82799009 Cardiac Output/LN 8277-6 Body Surface Area"},
	{"AVv", "AV", kVel, 2, 3, .012, "LN 11726-7 Peak Systolic Velocity", "dir:A mode:CW", "LN 79964-3 Aortic valve Vmax", "LN 20355-4 Peak Blood Velocity"},
	{"AVpg", "AV", kPress, 0, 1, 0, "LN 20247-3 Peak Gradient", "dir:A mode:CW", "LN 79963-5 Aortic valve peak instantaneous gradient", "LN 20247-3 Peak Gradient [Pressure]"},
	{"AVmg", "AV", kPress, 0, 3, .02, "LN 20256-4 Mean Gradient", "dir:A mode:CW", "LN 79962-7 Aortic valve mean gradient", "LN 20256-4 Mean Gradient [Pressure] by Doppler"},
	{"AVvti", "AV", kVTI, 1, 3, .014, "LN 20354-7 Velocity Time Integral", "dir:A mode:CW", "LN 79965-0 Aortic valve VTI", "LN 20354-7 Velocity Time Integral"},
	{"AVet", "AV", kTime, 0, 1, .012, "LN 18041-4 Aortic Valve Ejection Time", "mode:CW", "", "SCT 385673002 Interval"},
	{"AVat", "AV", kTime, 0, 1, .02, "LN 20168-1 Acceleration Time", "dir:A mode:CW", "", "LN 20168-1 Acceleration Time"},
	{"AVA", "AV", kArea, 2, 1, 0, "SCT 399367004 Cardiovascular Orifice Area", "dir:A meth:CEI", "LN 79958-5 Aortic valve area (Continuity VTI)", "DCM 125326 Effective Orifice Area"},
	{"AVAv", "AV", kArea, 2, 1, 0, "SCT 399367004 Cardiovascular Orifice Area", "dir:A meth:CEV", "LN 79956-9 Aortic valve area (Continuity Vmax)", "DCM 125326 Effective Orifice Area"},
	{"AVAi", "AV", kIArea, 2, 1, 0, "LN 79959-3 Aortic valve area (Continuity VTI) / BSA", "", "LN 79959-3 Aortic valve area (Continuity VTI) / BSA", "DCM 125326 Effective Orifice Area/LN 8277-6 Body Surface Area"},
	{"DVI", "AV", kRatio, 2, 1, 0, "", "", "", "LN 20354-7 Velocity Time Integral/LN 79965-0 Aortic valve VTI"},
	{"ARv", "AV", kVel, 2, 1, .01, "LN 11726-7 Peak Systolic Velocity", "dir:R mode:CW", "LN 79949-4 Aortic regurgitation Vmax", "LN 20355-4 Peak Blood Velocity"},
	{"ARvti", "AV", kVTI, 0, 1, .012, "LN 20354-7 Velocity Time Integral", "dir:R mode:CW", "LN 79952-8 Aortic regurgitation VTI", "LN 20354-7 Velocity Time Integral"},
	{"ARpht", "AV", kTime, 0, 3, .03, "LN 20280-4 Pressure Half-Time", "dir:R mode:CW", "LN 79947-8 Aortic regurgitation pressure half-time", "LN 20280-4 Pressure Half Time"},
	{"ARvc", "AV", kFine, 2, 1, .02, "LN 79948-6 Aortic regurgitation vena contracta width", "dir:R mode:CF", "LN 79948-6 Aortic regurgitation vena contracta width", "DCM 125334 Vena Contracta Width"},
	{"ARr", "AV", kFine, 2, 1, .01, "LN 59102-4 Flow Radius", "dir:R meth:PISA", "LN 79945-2 Aortic regurgitation PISA radius", "DCM 125331 PISA Radius"},
	{"ARva", "AV", kAlias, 0, 1, 0, "LN 59130-5 Alias velocity", "dir:R meth:PISA", "LN 79946-0 Aortic regurgitation PISA velocity", "LN 59130-5 Alias Velocity"},
	{"AReroa", "AV", kOrif, 2, 1, 0, "SCT 399367004 Cardiovascular Orifice Area", "dir:R meth:PISA", "LN 79960-1 Aortic valve effective regurgitant orifice area", "DCM 125326 Effective Orifice Area"},
	{"ARrvol", "AV", kVol, 0, 1, 0, "LN 33878-0 Volume Flow", "dir:R meth:PISA", "LN 79951-0 Aortic regurgitation volume (PISA)", "SCT 118565006 Volume"},
	{"ARrf", "AV", kPct, 0, 1, 0, "SCT 399301000 Regurgitant Fraction", "dir:R meth:PISA", "LN 79942-9 Aortic regurgitant fraction", "SCT 399301000 Regurgitant Fraction"},
}
