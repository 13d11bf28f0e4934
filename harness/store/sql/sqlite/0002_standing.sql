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
