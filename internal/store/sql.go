package store

// Every statement that is put to the database stands here, beside the files of
// the schema; those of version 1 are in first.go.
const (
	sqlVersion     = "PRAGMA user_version"
	sqlApplication = "PRAGMA application_id"
	sqlTables      = "SELECT count(*) FROM sqlite_schema"
	sqlSchema      = "SELECT type || ' ' || name, coalesce(sql, '') FROM sqlite_schema ORDER BY 1"
	sqlSound       = "PRAGMA integrity_check(1)"
	sqlCheckpoint  = "PRAGMA wal_checkpoint(TRUNCATE)"
	sqlBackup      = "VACUUM INTO ?"
	sqlBegin       = "BEGIN IMMEDIATE"
	sqlCommit      = "COMMIT"
	sqlRollback    = "ROLLBACK"
	sqlSavepoint   = "SAVEPOINT one"
	sqlKeep        = "RELEASE one"
	sqlUndo        = "ROLLBACK TO one; RELEASE one"

	sqlMeta    = "SELECT value FROM meta WHERE name = ?"
	sqlAddMeta = "INSERT INTO meta (name, value) VALUES (?, ?)"

	sqlHead      = "SELECT number, hash FROM event WHERE chain = ? ORDER BY number DESC LIMIT 1"
	sqlAddEvent  = "INSERT INTO event (chain, number, at, kind, detail, hash) VALUES (?, ?, ?, ?, ?, ?)"
	sqlEvents    = "SELECT id, chain, number, at, kind, detail, hash FROM event ORDER BY id"
	sqlLastSeal  = "SELECT hash FROM seal ORDER BY id DESC LIMIT 1"
	sqlAddSeal   = "INSERT INTO seal (at, heads, hash, mark) VALUES (?, ?, ?, ?)"
	sqlSeals     = "SELECT id, at, heads, hash, mark FROM seal ORDER BY id"
	sqlGivenUpTo = "SELECT coalesce((SELECT seq FROM sqlite_sequence WHERE name = ? AND typeof(seq) = 'integer'), 0)"

	sqlSealed = "SELECT sealed FROM identity WHERE kind = ? AND ref = ?"
	sqlSeal   = `INSERT INTO identity (kind, ref, lookup, sealed) VALUES (?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET lookup = excluded.lookup, sealed = excluded.sealed`
	sqlDropIdentity = "DELETE FROM identity WHERE kind = ? AND ref = ?"
	sqlIdentified   = "SELECT ref FROM identity WHERE kind = 'study' ORDER BY ref"
	sqlIsTied       = "SELECT count(*) FROM identity WHERE kind = 'patient' AND ref = ? AND lookup = ?"
	sqlLookupOf     = "SELECT lookup FROM identity WHERE kind = 'study' AND ref = ?"
	sqlPackedOf     = "SELECT packed FROM study WHERE uid = ?"
	sqlOfAccession  = "SELECT ref FROM identity WHERE kind = 'study' AND lookup = ?"

	// The dated studies of the person with a lookup, but for one.
	sqlOfPerson = `SELECT s.uid, s.date, s.digest FROM study s JOIN identity i ON i.kind = 'patient' AND i.ref = s.uid
		WHERE i.lookup = ? AND i.lookup <> '' AND s.uid <> ? AND s.packed IS NOT NULL AND s.date <> '' ORDER BY s.date, s.uid`

	sqlStudy     = "SELECT id, date, digest, facts, packed FROM study WHERE uid = ?"
	sqlPacked    = "SELECT packed FROM study WHERE uid = ?"
	sqlAddStudy  = "INSERT INTO study (uid) VALUES (?)"
	sqlSetStudy  = "UPDATE study SET date = ?, station = ?, facts = ?, packed = ?, digest = ? WHERE uid = ?"
	sqlDropStudy = "DELETE FROM study WHERE id = ?"
	sqlHasStudy  = "SELECT count(*) FROM study WHERE uid = ?"
	sqlStudyUID  = "SELECT uid FROM study WHERE id = ?"
	sqlUndated   = "SELECT count(*) FROM study WHERE date = ''"
	sqlBefore    = "SELECT id FROM study WHERE date <> '' AND date < ? ORDER BY date, uid"
	// The studies with what a rule set found of them; a study that a counter has
	// counted comes without itself.
	sqlStudies = `SELECT s.uid, s.facts, s.digest, CASE WHEN j.counter = ? AND j.counted IS NOT NULL THEN NULL ELSE s.packed END,
		coalesce(j.outcomes, ''), j.brief, j.counted, coalesce(j.counter, '')
		FROM study s LEFT JOIN judgement j ON j.study_id = s.id AND j.ruleset = ? AND j.digest = s.digest AND s.digest <> ''`
	// The studies of which an object came last, each with its last judgement.
	sqlArrivals = `SELECT s.uid, s.facts, s.digest, max(o.id) AS last, max(o.at), count(*), coalesce(j.ruleset, ''), coalesce(j.outcomes, ''), j.brief
		FROM (SELECT id, study_id, at FROM object WHERE study_id IS NOT NULL ORDER BY id DESC LIMIT ?) o JOIN study s ON s.id = o.study_id
		LEFT JOIN judgement j ON j.id = (SELECT max(id) FROM judgement WHERE study_id = s.id AND digest = s.digest AND s.digest <> '')
		GROUP BY s.id ORDER BY last DESC LIMIT ?`
	// The studies with a report that a rule set has not judged as they are now.
	sqlUnjudged = `SELECT uid FROM study s WHERE digest <> '' AND NOT EXISTS
		(SELECT 1 FROM judgement j WHERE j.study_id = s.id AND j.ruleset = ? AND j.digest = s.digest) ORDER BY date DESC, uid`
	sqlChange    = "SELECT coalesce(max(id), 0) FROM seal"
	sqlVersionOf = `SELECT coalesce(group_concat(hash, ' '), '') FROM (
		SELECT (SELECT hash FROM event WHERE chain = s.uid ORDER BY number DESC LIMIT 1) AS hash FROM study s WHERE s.uid = ? OR s.uid IN (
			SELECT i.ref FROM identity p JOIN identity i ON i.kind = 'patient' AND i.lookup = p.lookup AND i.lookup <> '' WHERE p.kind = 'patient' AND p.ref = ?)
		ORDER BY s.uid = ? DESC, s.uid)`
	sqlUIDs       = "SELECT id, uid FROM study WHERE id > ? ORDER BY id"
	sqlSamePerson = `SELECT s.uid, s.date FROM identity p JOIN identity i ON i.kind = 'patient' AND i.lookup = p.lookup AND i.lookup <> '' JOIN study s ON s.uid = i.ref
		WHERE p.kind = 'patient' AND p.ref = ? AND s.packed IS NOT NULL AND s.date <> '' ORDER BY s.date, s.uid`
	sqlListObjects = `SELECT o.sha256, o.sop_uid, o.sop_class, o.image, o.state, o.reason FROM object o JOIN study s ON s.id = o.study_id WHERE s.uid = ? ORDER BY o.id`

	sqlBetween  = " WHERE s.date BETWEEN ? AND ?"
	sqlByDate   = " ORDER BY s.date, s.uid"
	sqlDue      = "SELECT study FROM due ORDER BY study"
	sqlIsDue    = "SELECT count(*) FROM due WHERE study = ?"
	sqlAddDue   = "INSERT INTO due (study) VALUES (?) ON CONFLICT DO NOTHING"
	sqlDropDue  = "DELETE FROM due WHERE study = ?"
	sqlIsSigned = `SELECT count(*) FROM study s WHERE s.uid = ? AND (json_extract(s.facts, '$.verified')
		OR (SELECT signed FROM stamp WHERE study = s.uid ORDER BY id DESC LIMIT 1) <> '')`

	// An object with its last reading.
	sqlObjectRead = `SELECT o.id, o.sha256, o.sop_uid, o.image, o.state, o.reason, coalesce(s.uid, ''), coalesce(r.reader, ''), coalesce(r.content, ''), r.packed
		FROM object o LEFT JOIN study s ON s.id = o.study_id LEFT JOIN reading r ON r.id = (SELECT max(id) FROM reading WHERE object_id = o.id)`
	sqlObjectsOf    = sqlObjectRead + " WHERE o.study_id = (SELECT id FROM study WHERE uid = ?) ORDER BY o.sha256"
	sqlObjectBySum  = sqlObjectRead + " WHERE o.sha256 = ?"
	sqlObjectBySOP  = sqlObjectRead + " WHERE o.sop_uid = ? AND o.state IN ('read', 'partial') ORDER BY o.id LIMIT 1"
	sqlObjectID     = "SELECT id FROM object WHERE sha256 = ?"
	sqlObjectState  = "SELECT state, reason FROM object WHERE sha256 = ?"
	sqlObjectSum    = "SELECT sha256 FROM object WHERE id = ?"
	sqlAddObject    = "INSERT INTO object (sha256, sop_uid, sop_class, study_id, image, state, reason, at) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
	sqlSetObject    = "UPDATE object SET state = ?, reason = ? WHERE sha256 = ?"
	sqlOwnObjects   = "SELECT id FROM object WHERE study_id = ?"
	sqlLooseObjects = "SELECT id FROM object WHERE study_id IS NULL AND at < ? ORDER BY id"
	sqlDropObject   = "DELETE FROM object WHERE id = ?"
	sqlAddReading   = "INSERT INTO reading (object_id, reader, content, packed) VALUES (?, ?, ?, ?)"
	sqlReadings     = "SELECT id FROM reading WHERE object_id = ?"
	sqlDropReading  = "DELETE FROM reading WHERE id = ?"

	sqlPart      = "SELECT packed FROM part WHERE name = ?"
	sqlAddPart   = "INSERT INTO part (name, packed) VALUES (?, ?) ON CONFLICT DO NOTHING"
	sqlParts     = "SELECT name, packed FROM part"
	sqlPartNames = "SELECT name FROM part"
	sqlDropPart  = "DELETE FROM part WHERE name = ?"
	sqlInParts   = "SELECT packed FROM study WHERE packed IS NOT NULL UNION ALL SELECT packed FROM reading"
	sqlSwept     = "SELECT coalesce(max(number), 0) FROM event WHERE chain = ''"

	sqlRules         = "SELECT rules FROM ruleset WHERE digest = ?"
	sqlAddRuleSet    = "INSERT INTO ruleset (digest, version, at, rules) VALUES (?, ?, ?, ?)"
	sqlLatestRuleSet = "SELECT ruleset FROM judgement ORDER BY id DESC LIMIT 1"
	sqlLatestOf      = `SELECT j.ruleset FROM judgement j JOIN study s ON s.id = j.study_id AND s.digest = j.digest
		WHERE s.uid = ? ORDER BY j.id DESC LIMIT 1`
	sqlJudgings     = "SELECT ruleset, digest FROM judgement WHERE study_id = ?"
	sqlAddJudgement = "INSERT INTO judgement (study_id, ruleset, digest, at, outcomes, brief, whole, counted, counter) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
	sqlWhole        = `SELECT j.whole, s.packed FROM judgement j JOIN study s ON s.id = j.study_id AND s.digest = j.digest
		WHERE s.uid = ? AND j.ruleset = ?`
	sqlJudgements    = "SELECT id FROM judgement WHERE study_id = ?"
	sqlDropJudgement = "DELETE FROM judgement WHERE id = ?"

	sqlWaiver = `SELECT w.id, w.study, w.rule, w.reason, w.effect, w.role, w.at, w.late, x.id IS NOT NULL
		FROM waiver w LEFT JOIN waiver x ON x.withdraws = w.id WHERE w.withdraws IS NULL`
	sqlWaiverHolds   = sqlWaiver + " AND x.id IS NULL AND w.study = ? AND w.rule = ? ORDER BY w.id DESC LIMIT 1"
	sqlWaiverNumber  = sqlWaiver + " AND w.id = ?"
	sqlWaiversOf     = sqlWaiver + " AND (? = '' OR w.study = ?) ORDER BY w.id"
	sqlWaiversHold   = sqlWaiver + " AND x.id IS NULL ORDER BY w.id"
	sqlAddWaiver     = "INSERT INTO waiver (study, rule, reason, effect, role, at, late) VALUES (?, ?, ?, ?, ?, ?, ?)"
	sqlAddWithdrawal = "INSERT INTO waiver (study, rule, reason, effect, role, at, late, withdraws) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
	sqlWaiverIDs     = "SELECT id FROM waiver WHERE study = ? ORDER BY withdraws IS NULL, id"
	sqlDropWaiver    = "DELETE FROM waiver WHERE id = ?"

	sqlSameStamp = `SELECT count(*) FROM stamp WHERE id = (SELECT max(id) FROM stamp WHERE study = ? AND (study <> '' OR lookup = ?))
		AND setting = ? AND ended = ? AND read = ? AND signed = ?`
	sqlAddStamp     = "INSERT INTO stamp (study, lookup, setting, ended, read, signed, at) VALUES (?, ?, ?, ?, ?, ?, ?)"
	sqlStampWaiting = "SELECT id FROM stamp WHERE study = '' AND lookup = ?"
	sqlTieStamp     = "UPDATE stamp SET study = ? WHERE id = ?"
	sqlStamps       = "SELECT study, setting, ended, read, signed FROM stamp WHERE study <> '' ORDER BY id"
	sqlStampIDs     = "SELECT id FROM stamp WHERE study = (SELECT uid FROM study WHERE id = ?)"
	sqlDropStamp    = "DELETE FROM stamp WHERE id = ?"

	sqlStaff       = "SELECT pseudonym, role FROM staff"
	sqlSameStaff   = "SELECT count(*) FROM staff WHERE pseudonym = ? AND role = ?"
	sqlSetStaff    = "INSERT INTO staff (pseudonym, role) VALUES (?, ?) ON CONFLICT DO UPDATE SET role = excluded.role"
	sqlStations    = "SELECT name, lab, site, timezone FROM station"
	sqlLabs        = "SELECT DISTINCT lab FROM station WHERE lab <> '' ORDER BY lab"
	sqlSameStation = "SELECT count(*) FROM station WHERE name = ? AND lab = ? AND site = ? AND timezone = ?"
	sqlSetStation  = `INSERT INTO station (name, lab, site, timezone) VALUES (?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET lab = excluded.lab, site = excluded.site, timezone = excluded.timezone`

	sqlAddDecision = "INSERT INTO decision (kind, at, body) VALUES (?, ?, ?)"
	sqlDecisions   = "SELECT id, at, body FROM decision WHERE kind = ? ORDER BY id"

	sqlCountStudies       = "SELECT count(*) FROM study"
	sqlCountWithoutReport = "SELECT count(*) FROM study WHERE packed IS NULL"
	sqlFirstDate          = "SELECT coalesce(min(date), '') FROM study WHERE date <> ''"
	sqlLastDate           = "SELECT coalesce(max(date), '') FROM study"
	sqlCountJudgements    = "SELECT count(*) FROM judgement"
	sqlCountRuleSets      = "SELECT count(*) FROM ruleset"
	sqlCountWaivers       = "SELECT count(*) FROM waiver WHERE withdraws IS NULL"
	sqlCountWithdrawn     = "SELECT count(*) FROM waiver WHERE withdraws IS NOT NULL"
	sqlCountStamps        = "SELECT count(*) FROM stamp"
	sqlCountStaff         = "SELECT count(*) FROM staff"
	sqlCountStations      = "SELECT count(*) FROM station"
	sqlCountEvents        = "SELECT (SELECT count(*) FROM event) + (SELECT count(*) FROM event_1)"
	sqlBytes              = "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()"
	sqlByState            = "SELECT state, count(*) FROM object GROUP BY state"
	sqlByReason           = "SELECT reason, count(*) FROM object WHERE state = 'refused' GROUP BY reason"
)

// keptTables are the tables whose rows the events answer for; %s is where a
// condition on the key goes. The first column is the key.
var keptTables = []kept{
	{"meta", "SELECT name, value FROM meta%s ORDER BY name", "name", 0, false},
	{"identity", "SELECT CASE typeof(kind) || typeof(ref) WHEN 'texttext' THEN kind || ':' || ref END, lookup, sealed FROM identity%s ORDER BY kind, ref", "kind = ? AND ref", 0, false},
	{"study", "SELECT uid, date, station, facts, packed, digest FROM study%s ORDER BY uid", "uid", 0, false},
	{"object", `SELECT o.sha256, o.sop_uid, o.sop_class, coalesce(s.uid, ''), o.image, o.state, o.reason, o.at
		FROM object o LEFT JOIN study s ON s.id = o.study_id%s ORDER BY o.sha256`, "o.sha256", 0, false},
	{"reading", `SELECT r.id, o.sha256, r.reader, r.content, r.packed
		FROM reading r LEFT JOIN object o ON o.id = r.object_id%s ORDER BY r.id`, "r.id", 0, false},
	{"ruleset", "SELECT digest, version, at, rules FROM ruleset%s ORDER BY digest", "digest", 0, false},
	{"judgement", `SELECT j.id, s.uid, j.ruleset, j.digest, j.at, j.outcomes, j.brief, j.whole, j.counted, j.counter
		FROM judgement j LEFT JOIN study s ON s.id = j.study_id%s ORDER BY j.id`, "j.id", 0, false},
	{"waiver", "SELECT id, study, rule, reason, effect, role, at, late, withdraws FROM waiver%s ORDER BY id", "id", 0, false},
	{"stamp", "SELECT id, study, lookup, setting, ended, read, signed, at FROM stamp%s ORDER BY id", "id", 0, false},
	{"staff", "SELECT pseudonym, role FROM staff%s ORDER BY pseudonym", "pseudonym", 0, false},
	{"decision", "SELECT id, kind, at, body FROM decision%s ORDER BY id", "id", 3, false},
	{"due", "SELECT study FROM due%s ORDER BY study", "study", 2, true},
	{"station", "SELECT name, lab, site, timezone FROM station%s ORDER BY name", "name", 0, false},
}
