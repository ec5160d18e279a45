-- unique_bytes of every snapshot: chunks that its files hold, each once. After recipes.sql.
WITH held AS (
  SELECT DISTINCT s.logbook, s.snapshot, unnest(range(r.first, r.first + r.chunks)) AS id
  FROM snapshots s JOIN recipes r ON r.logbook = s.logbook AND r.snapshot <= s.snapshot AND s.snapshot < r.until
  WHERE r.chunks > 0 -- zeros have none
)
SELECT h.logbook, h.snapshot, sum(c.length)::BIGINT AS unique_bytes
FROM held h JOIN chunks c ON c.logbook = h.logbook AND c.id = h.id
GROUP BY h.logbook, h.snapshot
ORDER BY h.logbook, h.snapshot;
