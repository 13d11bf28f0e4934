-- Every question that the harness puts to a SQLite store. A line `-- name:` begins one; the
-- comment under it says what it answers.

-- name: create_run
-- Register a run under the next number.
INSERT INTO runs (run, number, plan_name, plan_hash, rig, cells, created_at)
SELECT :run, 1 + coalesce(max(number), 0), :plan_name, :plan_hash, :rig, :cells, :created_at
FROM runs;

-- name: append_entry
-- Keep one record. The trigger entries_follow refuses any but the next one.
INSERT INTO entries (run, seq, at, boot, kind, version, cell, attempt, body, previous, hash)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?);

-- name: last_entry
-- Where a run's records end: number and hash.
SELECT seq, hash FROM entries WHERE run = ? ORDER BY seq DESC LIMIT 1;

-- name: entries
-- The records of a run after one of them, in order, to be read back.
SELECT seq, at, boot, kind, version, body FROM entries WHERE run = ? AND seq > ? ORDER BY seq;

-- name: rows
-- The same, with everything that is kept about each: to be checked, or handed on.
SELECT run, seq, at, boot, kind, version, cell, attempt, body, previous, hash
FROM entries WHERE run = ? AND seq > ? ORDER BY seq;

-- name: story
-- The records about one cell, in order. SQLite knows nothing of how long a run is, and
-- would read all of it: the index is named.
SELECT seq, at, boot, kind, version, body FROM entries INDEXED BY entries_by_cell
WHERE run = ? AND cell = ? ORDER BY seq;

-- name: bodies_of_kind
-- The bodies of one kind of record of a run, in order.
SELECT seq, body FROM entries WHERE run = ? AND kind = ? ORDER BY seq;

-- name: reopened
-- The bodies of the records by which cells of a run were reopened, in order: only of cells that
-- a rerun was asked of, so that a run without one costs nothing.
SELECT DISTINCT e.seq, e.body FROM requests AS q JOIN json_each(q.cells) AS asked
JOIN entries AS e INDEXED BY entries_by_cell ON e.run = q.run AND e.cell = asked.value
WHERE q.run = ? AND q.kind = 'rerun' AND e.kind = 'cell-reopened' ORDER BY e.seq;

-- name: put_request
-- Keep what a person asks, under the next number of its run, and say which that is.
INSERT INTO requests (run, number, at, kind, "by", note, step, cells, attending)
SELECT :run, 1 + coalesce(max(number), 0), :at, :kind, :by, :note, :step, :cells, :attending
FROM requests WHERE run = :run
RETURNING number;

-- name: requests
-- What was asked of a run after one request, in order.
SELECT number, kind, "by", note, step, cells, attending FROM requests
WHERE run = ? AND number > ? ORDER BY number;

-- name: runs
-- The latest runs, newest first: number of the last record, and where each stands.
SELECT r.run, r.number, r.plan_name, r.plan_hash, r.rig, r.cells, r.created_at,
       coalesce((SELECT max(seq) FROM entries WHERE run = r.run), 0),
       s.seq, s.at, s.phase, s.since, s."group", s.cell, s.attempt, s.warm_up, s.waits,
       s.accepted, s.short, s.failed, s.passes
FROM runs AS r LEFT JOIN run_standing AS s ON s.run = r.run
ORDER BY r.number DESC LIMIT ?;

-- name: run
-- The same for one run.
SELECT r.run, r.number, r.plan_name, r.plan_hash, r.rig, r.cells, r.created_at,
       coalesce((SELECT max(seq) FROM entries WHERE run = r.run), 0),
       s.seq, s.at, s.phase, s.since, s."group", s.cell, s.attempt, s.warm_up, s.waits,
       s.accepted, s.short, s.failed, s.passes
FROM runs AS r LEFT JOIN run_standing AS s ON s.run = r.run
WHERE r.run = ?;

-- name: runs_of_plan
-- The runs of one plan, newest first.
SELECT run FROM runs WHERE plan_hash = ? ORDER BY number DESC;

-- name: plans_of_rig
-- The latest runs on a rig with their frozen plans, newest first. A run begins with its plan.
SELECT r.run, r.plan_hash, json_extract(e.body, '$.plan')
FROM runs AS r JOIN entries AS e ON e.run = r.run AND e.seq = 1 AND e.kind = 'run-started'
WHERE r.rig = ? ORDER BY r.number DESC LIMIT ?;

-- name: passes_seen
-- What is told of the passes of a run, record by record: how long each took and what it gave.
SELECT kind, cell, attempt, json_extract(body, '$.group'),
       json_extract(body, '$.warm_up') OR coalesce(json_extract(body, '$.reference'), 0),
       json_extract(body, '$.waited_s'), json_extract(body, '$.end.by'),
       json_extract(body, '$.end.wall_s'), json_extract(body, '$.figures'),
       json_extract(body, '$.verdict'), json_array_length(body, '$.marks'),
       json_extract(body, '$.discarded')
FROM entries
WHERE run = ?
  AND kind IN ('pass-started', 'pass-ended', 'pass-judged', 'pass-discarded', 'cell-reopened')
ORDER BY seq;

-- name: heat_seen
-- What was read at the start of every pass of a run, and over it, in order.
SELECT kind, json_extract(body, '$.waited_s'), json_extract(body, '$.readings')
FROM entries WHERE run = ? AND kind IN ('pass-started', 'pass-ended') ORDER BY seq;

-- name: keep_run_standing
-- Write where a run stands.
INSERT INTO run_standing (run, seq, at, phase, since, "group", cell, attempt, warm_up, waits,
                          accepted, short, failed, passes)
VALUES (:run, :seq, :at, :phase, :since, :group, :cell, :attempt, :warm_up, :waits,
        :accepted, :short, :failed, :passes)
ON CONFLICT (run) DO UPDATE SET
    seq = excluded.seq, at = excluded.at, phase = excluded.phase, since = excluded.since,
    "group" = excluded."group", cell = excluded.cell, attempt = excluded.attempt,
    warm_up = excluded.warm_up, waits = excluded.waits, accepted = excluded.accepted,
    short = excluded.short, failed = excluded.failed, passes = excluded.passes;

-- name: keep_cell_standing
-- Write where a cell stands.
INSERT INTO cell_standing (run, cell, state, "group", attempts, kept, discarded, void, failed,
                           interrupted, warm_up)
VALUES (:run, :cell, :state, :group, :attempts, :kept, :discarded, :void, :failed,
        :interrupted, :warm_up)
ON CONFLICT (run, cell) DO UPDATE SET
    state = excluded.state, "group" = excluded."group", attempts = excluded.attempts,
    kept = excluded.kept, discarded = excluded.discarded, void = excluded.void,
    failed = excluded.failed, interrupted = excluded.interrupted, warm_up = excluded.warm_up;

-- name: cell
-- Where one cell stands.
SELECT cell, state, "group", attempts, kept, discarded, void, failed, interrupted, warm_up
FROM cell_standing WHERE run = ? AND cell = ?;

-- name: cells
-- Where every cell of a run stands that a record speaks of.
SELECT cell, state, "group", attempts, kept, discarded, void, failed, interrupted, warm_up
FROM cell_standing WHERE run = ? ORDER BY cell;

-- name: forget_standing
-- Drop the cache of where a run and its cells stand; it is made again from the records.
DELETE FROM run_standing WHERE run = ?;

-- name: keep_comparison
-- Keep one comparison. The trigger comparisons_follow refuses any but the next one.
INSERT INTO comparisons (number, at, body, previous, hash) VALUES (?, ?, ?, ?, ?);

-- name: comparisons
-- All comparisons that were made despite differences, in order.
SELECT number, at, body, previous, hash FROM comparisons ORDER BY number;
