-- What one store for all logbooks under one key would hold, each at its newest
-- snapshot; how much less that is than a store each; and what every one of them
-- holds. After recipes.sql.
WITH newest AS (
  SELECT l.*, max(s.snapshot) AS newest FROM logbooks l JOIN snapshots s USING (logbook) GROUP BY ALL
), ids AS (
  SELECT DISTINCT n.*, unnest(range(r.first, r.first + r.chunks)) AS id
  FROM newest n JOIN recipes r ON r.logbook = n.logbook AND r.snapshot <= newest AND newest < r.until
  WHERE r.chunks > 0
), held AS (
  SELECT method, average_bytes, key_check, c.fingerprint, c.length, count(*) AS holders
  FROM ids JOIN chunks c ON c.logbook = ids.logbook AND c.id = ids.id GROUP BY ALL
), sides AS (
  SELECT method, average_bytes, key_check, count(*) AS logbooks FROM newest GROUP BY ALL
)
SELECT method, average_bytes, key_check, max(logbooks) AS logbooks,
       sum(length)::BIGINT AS union_bytes,
       sum(length * (holders - 1))::BIGINT AS saved_bytes,
       coalesce(sum(length) FILTER (holders = logbooks), 0)::BIGINT AS all_bytes
FROM held JOIN sides USING (method, average_bytes, key_check)
GROUP BY method, average_bytes, key_check
ORDER BY key_check, method, average_bytes;
