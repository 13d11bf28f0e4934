-- What the numbered migrations end in; a test proves it. For reading: it is never carried out.

-- Runs, their records, and what people ask of them. Nothing here is ever changed or deleted:
-- the triggers below refuse it, whoever asks.
--
-- The tables have no hidden row number, because INSERT OR REPLACE over a hidden number would
-- remove a row without any trigger seeing its key. For the same reason no column but the
-- primary key is unique.

CREATE TABLE runs (
    run        TEXT    NOT NULL PRIMARY KEY,
    number     INTEGER NOT NULL CHECK (number >= 1),     -- order of creation, from 1
    plan_name  TEXT    NOT NULL,
    plan_hash  TEXT    NOT NULL,
    rig        TEXT    NOT NULL,
    cells      INTEGER NOT NULL CHECK (cells >= 0),      -- how many the plan has
    created_at TEXT    NOT NULL                          -- UTC, RFC 3339
) STRICT, WITHOUT ROWID;

CREATE INDEX runs_by_number ON runs (number);
CREATE INDEX runs_by_plan ON runs (plan_hash, number);

CREATE TABLE entries (
    run      TEXT    NOT NULL REFERENCES runs (run),
    seq      INTEGER NOT NULL CHECK (seq >= 1),
    at       TEXT    NOT NULL,                           -- UTC, RFC 3339
    boot     TEXT    NOT NULL,
    kind     TEXT    NOT NULL,
    version  INTEGER NOT NULL CHECK (version >= 1),
    cell     TEXT,                                       -- key of the cell it is about, if any
    attempt  INTEGER,
    body     TEXT    NOT NULL,                           -- the record as JSON
    previous TEXT    NOT NULL,                           -- hash of the entry before; '' for the first
    hash     TEXT    NOT NULL CHECK (length(hash) = 64),
    PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;

CREATE INDEX entries_by_cell ON entries (run, cell) WHERE cell IS NOT NULL; -- then by seq

CREATE TABLE requests (
    run    TEXT    NOT NULL REFERENCES runs (run),
    number INTEGER NOT NULL CHECK (number >= 1),
    at     TEXT    NOT NULL,                             -- UTC, RFC 3339
    kind   TEXT    NOT NULL,
    "by"   TEXT    NOT NULL,
    note   TEXT    NOT NULL,
    step   INTEGER,                                      -- for a confirmation
    cells  TEXT    NOT NULL, attending INTEGER NOT NULL DEFAULT 0 CHECK (attending IN (0, 1)),                             -- JSON list of cell keys, for a rerun
    PRIMARY KEY (run, number)
) STRICT, WITHOUT ROWID;

-- A row comes after the last one, and follows its hash. This also refuses a row over an
-- existing key, which INSERT OR REPLACE would otherwise put in the place of the old one.

CREATE TRIGGER runs_follow BEFORE INSERT ON runs
WHEN EXISTS (SELECT 1 FROM runs WHERE run = NEW.run)
  OR NEW.number <> 1 + (SELECT coalesce(max(number), 0) FROM runs)
BEGIN
    SELECT RAISE (ABORT, 'append-only: a run is created once, under the next number');
END;

CREATE TRIGGER entries_follow BEFORE INSERT ON entries
WHEN NEW.seq <> 1 + (SELECT coalesce(max(seq), 0) FROM entries WHERE run = NEW.run)
  OR NEW.previous <> coalesce(
        (SELECT hash FROM entries WHERE run = NEW.run ORDER BY seq DESC LIMIT 1), '')
BEGIN
    SELECT RAISE (ABORT, 'append-only: a record follows the last one of its run');
END;

CREATE TRIGGER requests_follow BEFORE INSERT ON requests
WHEN NEW.number <> 1 + (SELECT coalesce(max(number), 0) FROM requests WHERE run = NEW.run)
BEGIN
    SELECT RAISE (ABORT, 'append-only: a request follows the last one of its run');
END;

CREATE TRIGGER runs_stay BEFORE UPDATE ON runs
BEGIN SELECT RAISE (ABORT, 'append-only: a run is never changed'); END;

CREATE TRIGGER runs_last BEFORE DELETE ON runs
BEGIN SELECT RAISE (ABORT, 'append-only: a run is never deleted'); END;

CREATE TRIGGER entries_stay BEFORE UPDATE ON entries
BEGIN SELECT RAISE (ABORT, 'append-only: a record is never changed'); END;

CREATE TRIGGER entries_last BEFORE DELETE ON entries
BEGIN SELECT RAISE (ABORT, 'append-only: a record is never deleted'); END;

CREATE TRIGGER requests_stay BEFORE UPDATE ON requests
BEGIN SELECT RAISE (ABORT, 'append-only: a request is never changed'); END;

CREATE TRIGGER requests_last BEFORE DELETE ON requests
BEGIN SELECT RAISE (ABORT, 'append-only: a request is never deleted'); END;

-- Where every run and cell stands: a cache of the fold of the records, written in the same
-- transaction as they are. It may be emptied at any time and is then made again. The triggers
-- see that it is never emptied by half.

CREATE TABLE run_standing (
    run      TEXT    NOT NULL PRIMARY KEY REFERENCES runs (run),
    seq      INTEGER NOT NULL,                           -- the last record in it
    at       TEXT    NOT NULL,                           -- and its instant
    phase    TEXT    NOT NULL,
    since    TEXT    NOT NULL,                           -- when the phase began, UTC, RFC 3339
    "group"  INTEGER NOT NULL,                           -- the one that is open
    cell     TEXT,                                       -- the pass in progress
    attempt  INTEGER,
    warm_up  INTEGER,
    waits    TEXT,                                       -- JSON: the open step, or the hold
    accepted INTEGER NOT NULL,                           -- cells
    short    INTEGER NOT NULL,
    failed   INTEGER NOT NULL,
    passes   INTEGER NOT NULL                            -- judged passes, warm-ups aside
) STRICT, WITHOUT ROWID;

CREATE TABLE cell_standing (
    run         TEXT    NOT NULL REFERENCES runs (run),
    cell        TEXT    NOT NULL,
    state       TEXT    NOT NULL,
    "group"     INTEGER NOT NULL,                        -- the counts are of passes in it
    attempts    INTEGER NOT NULL,                        -- last attempt number given
    kept        INTEGER NOT NULL,
    discarded   INTEGER NOT NULL,
    void        INTEGER NOT NULL,
    failed      INTEGER NOT NULL,
    interrupted INTEGER NOT NULL,
    warm_up     INTEGER NOT NULL,
    PRIMARY KEY (run, cell)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER run_standing_gone AFTER DELETE ON run_standing
BEGIN DELETE FROM cell_standing WHERE run = OLD.run; END;

CREATE TRIGGER cell_standing_gone AFTER DELETE ON cell_standing
BEGIN DELETE FROM run_standing WHERE run = OLD.run; END;

-- Comparisons that were made despite differences, each with its reason: whoever holds the same
-- cells against each other later is told.

CREATE TABLE comparisons (
    number   INTEGER NOT NULL PRIMARY KEY CHECK (number >= 1),
    at       TEXT    NOT NULL,                           -- UTC, RFC 3339
    body     TEXT    NOT NULL,                           -- who, why, what and what came of it, as JSON
    previous TEXT    NOT NULL,                           -- hash of the one before; '' for the first
    hash     TEXT    NOT NULL CHECK (length(hash) = 64)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER comparisons_follow BEFORE INSERT ON comparisons
WHEN NEW.number <> 1 + (SELECT coalesce(max(number), 0) FROM comparisons)
  OR NEW.previous <> coalesce(
        (SELECT hash FROM comparisons ORDER BY number DESC LIMIT 1), '')
BEGIN
    SELECT RAISE (ABORT, 'append-only: a comparison follows the last one');
END;

CREATE TRIGGER comparisons_stay BEFORE UPDATE ON comparisons
BEGIN SELECT RAISE (ABORT, 'append-only: a comparison is never changed'); END;

CREATE TRIGGER comparisons_last BEFORE DELETE ON comparisons
BEGIN SELECT RAISE (ABORT, 'append-only: a comparison is never deleted'); END;
