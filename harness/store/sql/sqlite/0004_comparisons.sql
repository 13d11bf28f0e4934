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
