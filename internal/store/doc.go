// Package store owns the ledger: the lab's record of every object, study and
// result, in one SQLite file, and the key file that seals who the studies are
// of. It is the only importer of the database driver.
//
// Writing. [Open] makes or upgrades the file. [Store.Record] takes in what was
// read of one study, [Store.RecordUnread] objects of no study, [Store.Import] a
// list the lab makes (roster, sign-off times, stations), [Store.Waive] a waiver.
// Each is one transaction that is on disk when the call returns: killed at any
// moment, the ledger opens with everything that was acknowledged, once. The
// same again changes nothing. A later report of a study supersedes the earlier
// one, another rule set adds results; only [Store.Purge] takes anything out.
//
// Reading. For figures over a period:
//
//	for study, err := range ledger.Studies(ctx, period, filter, ruleset) { ... }
//
// gives facts, results, waivers and times per study, by date; ruleset is a
// digest, such as [Store.LatestRuleSet] gives. For judging anew under other
// rules, [Store.RebuiltStudies] gives the same studies, of which
// [Study.Rebuild] makes the echo.Study that was judged; it may be called by
// several workers. Neither needs the key, nor does any other lab output.
//
// Privacy. Patient, accession number, paths and notes of waivers stand in the
// table identity, sealed with AES-256-GCM; staff are pseudonyms (HMAC-SHA-256).
// Both keys come from the key file, which is not part of the ledger. Ages are
// kept in whole years, below 18 in months. Names that stand in free text are
// taken out before it is kept; protected texts are never packed. A keyed hash of
// patient ID and issuer ties the studies of a person, so that a study is compared
// with the latest earlier one; it holds that one's values and date.
//
// Proof. Every transaction ends with an event that carries the digests of the
// rows it touched and is chained to the event before. [Store.Verify] goes
// through all of them. Who cuts off the latest events together with their rows
// is found out only by a head that was noted elsewhere.
//
// A schema version is one file in schema/. A released one is never edited; a
// ledger of each lies in testdata/store and must open.
package store
