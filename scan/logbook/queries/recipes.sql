-- What a name holds in which snapshots: from `snapshot` up to, not including,
-- `until`. After tables.sql.

-- A row holds until the name's next one.
CREATE OR REPLACE TEMP VIEW versions AS
SELECT *,
       coalesce(lead(snapshot) OVER later, 2147483647) AS until, -- that number: to the end
       -- First seen: baseline, not change. So is what was never read until now.
       first_seen OR coalesce(lag(kind = 'file' AND state <> 'gone' AND never_read) OVER later, false) AS baseline
FROM files
WINDOW later AS (PARTITION BY logbook, label, path ORDER BY snapshot);

-- A run holds until a later row of its name ends it: a row that is no
-- difference (a full recipe, or the name is gone), one whose file ends before
-- the run begins, or one with a run over the run's beginning. Differences
-- replace whole runs, so nothing is ever cut in two.
CREATE OR REPLACE TEMP TABLE recipes AS
WITH full_rows AS (
  SELECT logbook, label, path, snapshot, NOT difference AS complete, size FROM files
), ends AS (
  SELECT r.logbook, r.label, r.path, r.snapshot, r.start, f.snapshot AS until
  FROM runs r JOIN full_rows f USING (logbook, label, path)
  WHERE f.snapshot > r.snapshot AND (f.complete OR f.size <= r.start)
  UNION ALL
  SELECT r.logbook, r.label, r.path, r.snapshot, r.start, d.snapshot
  FROM runs r JOIN runs d USING (logbook, label, path)
  WHERE d.snapshot > r.snapshot AND d.start <= r.start AND r.start < d.start + d.bytes
), first_ends AS (
  SELECT logbook, label, path, snapshot, start, min(until) AS until FROM ends GROUP BY ALL
)
SELECT r.*, coalesce(e.until, 2147483647) AS until
FROM runs r LEFT JOIN first_ends e USING (logbook, label, path, snapshot, start);
