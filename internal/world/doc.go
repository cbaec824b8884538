// Package world invents adult echocardiography reports as DICOM structured
// reports, to judge a program that audits such reports. Nothing in it is real:
// patients, observers, laboratories, scanners and workstations, their private
// codes and their identifiers are made up; no data of a person was used.
//
// # Use
//
//	Clean(seed, n)  n studies without contradiction
//	Slips(seed, n)  n pairs: a clean study and its twin with one slip
//	Gaps(seed, n)   n pairs: a complete study and its twin with one gap
//
// Everything is deterministic per seed. Slips and Gaps cycle through all
// kinds, so n = len(SlipKinds()) gives each kind once; another seed gives other
// patients, dialects and places. Clean alternates blocks of complete and
// ordinary studies over all dialects and conditions.
//
// The two studies of a pair share patient, accession number and date; only the
// unique identifiers differ. Judge them apart, not as prior and current study.
//
// # From a heart to a file
//
// A patient is drawn for a condition; the circulation is solved without
// rounding: forward flow, leaks and shunts first, then the flow of every site
// by conservation of mass, velocities by continuity, pressures by Bernoulli,
// chamber sizes from volumes (heart.go, heart_right.go). A scanner then takes
// readings of several beats and windows with scatter (measure.go) and computes
// its results with its own habits (derive.go). Only then is anything rounded,
// in the units and digits of the dialect (items.go), put into a tree
// (render.go, tree.go) and encoded (encode.go, file.go).
//
// # What counts as clean
//
// relations.go and its sisters evaluate what an outsider can see, the written
// texts, against the relations of consistency.md (ids C01 to C93) with their
// tolerances, rounding budgets and context gates, and against the hard limits
// of limits.csv. A clean study and the clean twin of a pair stay below 0.92 of
// every tolerance. A study declared Complete has all of section 3 of
// completeness.md, the triggers of section 4 that its lesions call for (numbers
// where a code exists, sentences otherwise), repeated beats, two or more
// windows where asked, rhythm, pressures and sizes. Relative wall thickness and
// the velocity index have no code in the echo groups: only dialects with
// private or post-coordinated names send them. Outflow obstruction has no
// separable outflow volume and aortic velocity; the report says so. Studies
// without text are declared complete only in conditions that need no sentence.
// Ordinary studies lack two to five groups of measurements, silently or with a
// declared reason, or are limited studies by their study description.
//
// # What counts as a slip
//
// One slip per study. It is injected only where it can be seen from the record
// alone: at least one relation or limit is exceeded by 1.4 times its tolerance
// and the clean twin exceeds none. Truth.DetectableWhy lists the ids that
// reveal it, the strongest first. Truth.Altered lists culprits first; items
// with Follows set are right arithmetic on a wrong input (or a retyped copy).
// For a caliper or a wrong form everything downstream follows; for a typing
// error only the typed number differs. Truth.Cause is the class below, or ""
// for pure misreadings, where naming a cause would be a guess:
//
//	decimal, unit-factor, digits-exchanged, digit-dropped, digit-doubled,
//	two-values-exchanged, wrong-site, ratio-inverted, wrong-beat, wrong-window,
//	wrong-mean, wrong-input, wrong-form, wrong-field, old-result, indexing,
//	radius-diameter, sign, wrong-rhythm, wrong-patient, wrong-date,
//	grade-text, copy-error
//
// Where an old result is kept, the old reading itself is in the record only if
// the scanner keeps it (lomvist); elsewhere two or more stale results agree on
// the same older input. SlipKinds and GapKinds list all kinds.
//
// A gap leaves out a view, a measurement, beats, a grade or a modifier without
// a reason in a study that is complete otherwise; it breaks no relation.
// ItemRef.Missing marks what is gone, its Path is the place in the clean twin.
//
// # Dialects and where the standard allows their habits
//
//	tarnvik   TID 5200/5202/5203 in Comprehensive SR, implicit VR, undefined
//	          lengths; SRT codes, title 121070; image mode on the group
//	          (TID 5202 row 4); beats and mean (Derivation, CID 3627); full
//	          machine digits (DS); Mosteller; RA pressure 5/10/15
//	olmery    German, UTF-8, code meanings translated (meaning is not identity,
//	          PS3.3 8); means only; mm and cm/s (units are free, TID 5203);
//	          regurgitant velocities negative; Retrograde Flow 312004007 and
//	          20355-4 (2024 edition); stroke volume as mean of products
//	quessal   TID 5300, Simplified Adult Echo SR: containers 125301-125303,
//	          short labels, one selected beat (TID 5301 row 2); what CID 12300
//	          lacks is post-coordinated under 99QUESSAL (TID 5302)
//	brundo    French, Latin-1; one Measurement Group below the root, all
//	          modifiers on the item (all 5200 templates are extensible); coarse
//	          digits; private codes 99BRUNDO for a part, scheme identified in
//	          (0008,0110); mode as HAS CONCEPT MOD; no template id
//	vethra    reporting workstation; CID 12300 names inside TID 5200 sections;
//	          preliminary (PARTIAL, UNVERIFIED) and final document with
//	          predecessor (PS3.3 C.17.2); tissue velocity in m/s; vein segment
//	          and laterality below the finding site (TID 300 rows 6 and 7);
//	          certainty of findings; strain without minus
//	ispole    portable, no TEXT item at all, deflated; SNM3 and SRT and SCT
//	          mixed; one mean per window, of different numbers of beats; rate of
//	          the clip; times in s; absent lesions coded with severity None
//	kardun    two objects: scanner and reading workstation (Enhanced SR), which
//	          repeats some numbers; grade as number below the finding
//	          (HAS PROPERTIES); SRT mixed with SCT; RA pressure 5/10/15
//	lomvist   a value measured anew with the old one kept (Selection Status
//	          121411); empty values with qualifier (CID 42); full Bernoulli
//	          form; private codes 99LOMVIST with equivalent meaning (121050);
//	          99SDM; implicit VR
//	wexular   adult congenital layout TID 5220/5222/5223; indexed values under
//	          the plain name (TID 5224), told by unit and measurement type;
//	          strain without minus; German or English
//	pindrel   beats only, no mean; 2D, M-mode and 3D versions and single planes
//	          side by side; equation and inputs by INFERRED FROM (TID 300 rows 9
//	          and 12); source images by value (TID 320); floating point value beside the DS (0040,A161)
//	ungert    archive export in German: numbers directly below the root;
//	          preliminary and final; patient sizes in the content only
//	xanthe    one beat marked Best value (CID 3627); negative jets; grade as
//	          number; two objects; birth date in the content (TID 1007); height
//	          in m; M-mode beside 2D
//
// Coded findings carry site and severity (CID 3716) where the dialect codes
// them; conclusions are TEXT in English, German or French. Names with codes
// that the shared tables do not hold are marked "from memory" in the source.
//
// # Conditions
//
// Conditions() lists them: health at three ages, a small old woman, an athlete,
// pregnancy, hypertension, dilated and restrictive disease, outflow obstruction,
// three forms of severe aortic stenosis, two of aortic and two of mitral
// regurgitation, mitral stenosis, tricuspid regurgitation mild and severe,
// pulmonary hypertension, RV infarction, atrial and ventricular septal defect,
// aortic and mitral prosthesis, effusion, constriction, atrial fibrillation,
// pulmonary regurgitation and stenosis.
//
// # Checks
//
// go test runs the physics on unrounded values, the relations on every clean
// study, the twins of all kinds, and three readers that share no line with this
// package: dcmdump and dsrdump accept every file; pydicom reads them, finds the
// written value at every place a truth names, and recomputes ejection fraction,
// body surface and age from the files. The tools are skipped with a message
// where they are not installed.
package world
