-- Version 1 of the ledger.

-- What the file is and which key belongs to it.
CREATE TABLE meta (
  name  TEXT PRIMARY KEY,
  value TEXT NOT NULL
) WITHOUT ROWID;

-- The record of what was done, chained by hashes. Rows are only ever added.
CREATE TABLE event (
  id      INTEGER PRIMARY KEY AUTOINCREMENT,
  at      TEXT NOT NULL,              -- RFC 3339, UTC
  kind    TEXT NOT NULL,
  subject TEXT NOT NULL,              -- Study Instance UID or what else it is about
  detail  TEXT NOT NULL,              -- JSON: what happened, and the digest of every row it touched
  hash    TEXT NOT NULL               -- SHA-256 over the hash before and this row
);
CREATE TRIGGER event_kept BEFORE DELETE ON event BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END;
CREATE TRIGGER event_fixed BEFORE UPDATE ON event BEGIN SELECT RAISE(ABORT, 'events are never changed'); END;

-- Everything that names a person or may do so, sealed (AES-256-GCM).
CREATE TABLE identity (
  kind   TEXT NOT NULL,               -- study, path, note
  ref    TEXT NOT NULL,               -- Study Instance UID, SHA-256 of the object, number of the waiver
  lookup TEXT NOT NULL DEFAULT '',    -- keyed hash of the accession number
  sealed BLOB NOT NULL,
  PRIMARY KEY (kind, ref)
) WITHOUT ROWID;
CREATE INDEX identity_lookup ON identity (lookup) WHERE lookup <> '';

CREATE TABLE study (
  id          INTEGER PRIMARY KEY,
  uid         TEXT NOT NULL UNIQUE,
  date        TEXT NOT NULL DEFAULT '', -- 2026-10-31, '' when no report states it
  station     TEXT NOT NULL DEFAULT '',
  facts       TEXT NOT NULL DEFAULT '{}', -- JSON
  packed      BLOB,                       -- the study as composed, deflated; NULL when no report was read
  digest      TEXT NOT NULL DEFAULT ''    -- SHA-256 over it before deflating
);
CREATE INDEX study_date ON study (date, uid);

CREATE TABLE object (
  id        INTEGER PRIMARY KEY,
  sha256    TEXT NOT NULL UNIQUE,
  sop_uid   TEXT NOT NULL DEFAULT '',
  sop_class TEXT NOT NULL DEFAULT '',
  study_id  INTEGER REFERENCES study (id),
  image     INTEGER NOT NULL DEFAULT 0,
  state     TEXT NOT NULL,            -- read, partial, refused, ignored
  reason    TEXT NOT NULL DEFAULT '',
  at        TEXT NOT NULL
);
CREATE INDEX object_study ON object (study_id);
CREATE INDEX object_sop ON object (sop_uid);

-- What was read of an object; a later reading with other catalogues is another row.
CREATE TABLE reading (
  id        INTEGER PRIMARY KEY,
  object_id INTEGER NOT NULL REFERENCES object (id),
  reader    TEXT NOT NULL,            -- program version and digest of the rule set it was read with
  content   TEXT NOT NULL,            -- digest of what the object says, whatever the catalogues
  packed    BLOB NOT NULL
);
CREATE INDEX reading_object ON reading (object_id, id);

CREATE TABLE ruleset (
  id      INTEGER PRIMARY KEY,
  digest  TEXT NOT NULL UNIQUE,
  version TEXT NOT NULL,
  at      TEXT NOT NULL
);
CREATE TABLE rule (
  id         INTEGER PRIMARY KEY,     -- in the order of the rule set
  ruleset_id INTEGER NOT NULL REFERENCES ruleset (id),
  identifier TEXT NOT NULL,
  detail     TEXT NOT NULL,           -- JSON: version, title, kind, structure, source, measurands
  UNIQUE (ruleset_id, identifier)
);

-- One judging of one state of a study by one rule set.
CREATE TABLE judgement (
  id         INTEGER PRIMARY KEY,
  study_id   INTEGER NOT NULL REFERENCES study (id),
  ruleset_id INTEGER NOT NULL REFERENCES ruleset (id),
  digest     TEXT NOT NULL,           -- of the study's state that was judged
  at         TEXT NOT NULL,
  detail     TEXT NOT NULL,           -- JSON: protocols, suspects
  outcomes   TEXT NOT NULL,           -- two letters per rule, in the order of the rule set: outcome and severity
  UNIQUE (study_id, ruleset_id, digest)
);

-- The words of the results that neither passed nor did not apply.
CREATE TABLE result (
  judgement_id INTEGER NOT NULL REFERENCES judgement (id),
  rule_id      INTEGER NOT NULL REFERENCES rule (id),
  detail       TEXT NOT NULL,         -- JSON: message, missing, causes, suspect
  PRIMARY KEY (judgement_id, rule_id)
) WITHOUT ROWID;

-- Waivers and their withdrawals. Rows are only ever added.
CREATE TABLE waiver (
  id        INTEGER PRIMARY KEY,
  study     TEXT NOT NULL,
  rule      TEXT NOT NULL,
  reason    TEXT NOT NULL,
  effect    TEXT NOT NULL,
  role      TEXT NOT NULL,
  at        TEXT NOT NULL,
  late      INTEGER NOT NULL,         -- given after sign-off
  withdraws INTEGER REFERENCES waiver (id)
);
CREATE INDEX waiver_study ON waiver (study, rule);

-- Times the lab's own systems know. The last row of a study counts.
CREATE TABLE stamp (
  id      INTEGER PRIMARY KEY,
  study   TEXT NOT NULL DEFAULT '',   -- Study Instance UID, '' while only the accession is known
  lookup  TEXT NOT NULL DEFAULT '',   -- keyed hash of the accession number
  setting TEXT NOT NULL DEFAULT '',
  ended   TEXT NOT NULL DEFAULT '',
  read    TEXT NOT NULL DEFAULT '',
  signed  TEXT NOT NULL DEFAULT '',
  at      TEXT NOT NULL
);
CREATE INDEX stamp_study ON stamp (study);
CREATE INDEX stamp_lookup ON stamp (lookup);

CREATE TABLE staff (
  pseudonym TEXT PRIMARY KEY,
  role      TEXT NOT NULL
) WITHOUT ROWID;

CREATE TABLE station (
  name     TEXT PRIMARY KEY,
  lab      TEXT NOT NULL,
  site     TEXT NOT NULL,
  timezone TEXT NOT NULL
) WITHOUT ROWID;
