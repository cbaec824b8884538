-- Version 2 of the ledger: a chain of events per study, what was judged kept
-- whole, packed values with numbered fields.

-- The one chain of version 1 stays as it is; the first seal follows from its end.
ALTER TABLE event RENAME TO event_1;

-- The record of what was done, a chain by hashes for every study. Rows are only
-- ever added.
CREATE TABLE event (
  id     INTEGER PRIMARY KEY AUTOINCREMENT,
  chain  TEXT NOT NULL,               -- Study Instance UID, '' for what is of no study
  number INTEGER NOT NULL,            -- in its chain, from 1
  at     TEXT NOT NULL,               -- RFC 3339, UTC
  kind   TEXT NOT NULL,
  detail TEXT NOT NULL,               -- JSON: what happened, and the digest of every row it touched
  hash   TEXT NOT NULL,               -- SHA-256 over the hash before in the chain and this row
  UNIQUE (chain, number)
);
CREATE TRIGGER event_stays BEFORE DELETE ON event BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END;
CREATE TRIGGER event_stands BEFORE UPDATE ON event BEGIN SELECT RAISE(ABORT, 'events are never changed'); END;

-- What was written together: the heads of the chains that grew, chained.
CREATE TABLE seal (
  id    INTEGER PRIMARY KEY AUTOINCREMENT,
  at    TEXT NOT NULL,
  heads TEXT NOT NULL,                -- JSON: per chain the number and hash of its last event
  hash  TEXT NOT NULL,                -- SHA-256 over the hash before and this row
  mark  TEXT NOT NULL                 -- keyed hash of it, '' when it was written without the key
);
CREATE TRIGGER seal_stays BEFORE DELETE ON seal BEGIN SELECT RAISE(ABORT, 'seals are never deleted'); END;
CREATE TRIGGER seal_stands BEFORE UPDATE ON seal BEGIN SELECT RAISE(ABORT, 'seals are never changed'); END;

-- The rules of a set, packed; outcomes are in their order.
ALTER TABLE ruleset ADD COLUMN rules BLOB;

ALTER TABLE judgement RENAME TO judgement_1;

-- One judging of one state of a study by one rule set.
CREATE TABLE judgement (
  id       INTEGER PRIMARY KEY,
  study_id INTEGER NOT NULL REFERENCES study (id),
  ruleset  TEXT NOT NULL,             -- digest
  digest   TEXT NOT NULL,             -- of the study's state that was judged
  at       TEXT NOT NULL,
  outcomes TEXT NOT NULL,             -- two letters per rule, in the order of the rule set: outcome and severity
  brief    BLOB NOT NULL,             -- packed: protocols, suspects, causes
  whole    BLOB NOT NULL,             -- packed: all that was found
  counted  BLOB,                      -- packed: what figures count of the study beside the results
  counter  TEXT NOT NULL DEFAULT '',  -- what counted
  UNIQUE (study_id, ruleset, digest)
);

-- What recurs in packed values, kept once under a name that follows from it.
CREATE TABLE part (
  name   BLOB PRIMARY KEY,            -- first 16 bytes of the SHA-256 of what is packed
  packed BLOB NOT NULL
) WITHOUT ROWID;

-- Studies to be compared anew, since one that may stand before them came later.
CREATE TABLE due (
  study TEXT PRIMARY KEY              -- Study Instance UID
) WITHOUT ROWID;
