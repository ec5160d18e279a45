-- new_bytes of every night: chunks first seen in it, less those that only
-- first-seen files hold. After recipes.sql. No recipe has to be resolved: a
-- chunk of this night can only stand in a run of this night.
WITH fresh AS (
  SELECT DISTINCT v.logbook, v.snapshot, unnest(range(r.first, r.first + r.chunks)) AS id
  FROM versions v JOIN runs r USING (logbook, label, path, snapshot)
  WHERE v.known AND NOT v.baseline AND v.snapshot > 1 AND r.chunks > 0
)
SELECT s.logbook, s.snapshot, coalesce(sum(c.length), 0)::BIGINT AS new_bytes, count(c.id) AS new_chunks
FROM snapshots s
LEFT JOIN (fresh JOIN chunks c USING (logbook, snapshot, id)) ON c.logbook = s.logbook AND c.snapshot = s.snapshot
WHERE s.snapshot > 1
GROUP BY s.logbook, s.snapshot
ORDER BY s.logbook, s.snapshot;
