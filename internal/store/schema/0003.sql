-- Version 3 of the ledger: what the lab decides.

-- Actions, draws of cases, second readings and the like, one row each, in the
-- words of who keeps them. Rows are only ever added.
CREATE TABLE decision (
  id   INTEGER PRIMARY KEY AUTOINCREMENT,
  kind TEXT NOT NULL,
  at   TEXT NOT NULL,                 -- RFC 3339, UTC
  body TEXT NOT NULL                  -- JSON
);
CREATE TRIGGER decision_stays BEFORE DELETE ON decision BEGIN SELECT RAISE(ABORT, 'decisions are never deleted'); END;
CREATE TRIGGER decision_stands BEFORE UPDATE ON decision BEGIN SELECT RAISE(ABORT, 'decisions are never changed'); END;
