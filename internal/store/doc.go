// Package store owns the ledger: the lab's record of every object, study and
// judgement, in one SQLite file. It is the only importer of the database driver,
// and every statement put to it stands in sql.go. What seals who the studies are
// of is the key in [keyfile].
//
// Writing. [Open] makes or upgrades the file. Nothing is read, composed or judged
// while the ledger is locked: who records a study does
//
//	for {
//		state, err := ledger.Load(ctx, uid, reader, found) // settles objects with those that are known
//		if state.Composing() {                            // something new, or an earlier study
//			reports, images, err := state.Readings()
//			study := compose(reports, images)             // nil without a report
//			study.Prior = prior(study, state.Identity(), ledger.Earlier(ctx, state, study.StudyDate))
//			err = state.Compose(study)                    // as it is kept: names taken out
//		}
//		if judging, err := state.Judging(library.Digest); judging {
//			study, err := state.Study()
//			err = state.Judge(&Judged{Judgement: judge(study), Rules: ..., Counted: count(study), Counter: ...})
//		}
//		receipt, err := ledger.Commit(ctx, state, why)    // ErrChanged: others were quicker, load again
//	}
//
// and then the same, with nothing found, for every study of [Store.Due]: those
// the new one may now stand before. They stay due until they are committed, also
// when the process is killed between. Commit returns when all of it is on disk;
// what several goroutines commit at a time is brought to the disk together, so
// that many should be at it. [Store.CommitUnread] takes in objects of no study,
// [Store.Import] a list the lab makes (roster, sign-off times, stations),
// [Store.Waive] a waiver. Killed at any moment, the ledger opens with everything
// that was acknowledged, once. The same again changes nothing. A later report of
// a study supersedes the earlier one, another rule set adds a judgement; only
// [Store.Purge] takes anything out.
//
// Reading. [Store.Judgement] gives what was found of a study, whole, with the
// study it was found of: nothing shows a study by judging it again. For figures
// over a period:
//
//	for study, err := range ledger.Studies(ctx, period, filter, ruleset) { ... }
//
// gives outcomes, waivers and times per study, by date, and what was counted of
// it; ruleset is a digest, such as [Store.LatestRuleSet] gives. [Study.Rebuild]
// makes the echo.Study that was judged; it may be called by several workers.
// Neither needs the key, nor does any other lab output.
//
// Privacy. Patient, accession number, paths and notes of waivers stand in the
// table identity, sealed with AES-256-GCM; staff are pseudonyms (HMAC-SHA-256).
// Both keys come from the key file, which is not part of the ledger. Ages are
// kept in whole years, below 18 in months. Names that stand in free text are
// taken out before it is kept; protected texts are never packed. A keyed hash of
// patient ID and issuer ties the studies of a person, so that a study is compared
// with the latest earlier one; it holds that one's values and date.
//
// Proof. What is written about a study ends with an event in its chain, which
// carries the digests of the rows it touched and follows from the event before;
// what is of no study has a chain of its own. What was written together ends with
// a seal: the heads of the chains that grew, chained to the seal before and marked
// with the key. No chain needs another one to grow, so that a ledger may be kept
// in more places than one file. [Store.Verify] goes through all of them and holds
// every row and the schema itself against them. Who puts an older copy of the
// whole file in the place of the ledger is found out only by a head that was noted
// elsewhere.
//
// A schema version is one file in schema/. A released one is never edited; a
// ledger of each lies in testdata/store and must open. What version 1 left is read
// by first.go and packed/first.
package store
