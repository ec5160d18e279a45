-- What each two logbooks hold in common, each at its newest snapshot: bytes of
-- chunks, each once, and of whole files. Logbooks that were cut differently or
-- stand under different keys can't be compared: no row. After recipes.sql.
WITH newest AS (
  SELECT l.*, max(s.snapshot) AS newest FROM logbooks l JOIN snapshots s USING (logbook) GROUP BY ALL
), ids AS (
  SELECT DISTINCT n.logbook, unnest(range(r.first, r.first + r.chunks)) AS id
  FROM newest n JOIN recipes r ON r.logbook = n.logbook AND r.snapshot <= newest AND newest < r.until
  WHERE r.chunks > 0
), held AS (
  SELECT ids.logbook, c.fingerprint, c.length FROM ids JOIN chunks c ON c.logbook = ids.logbook AND c.id = ids.id
), whole AS (
  SELECT DISTINCT n.logbook, v.contents, v.source_bytes
  FROM newest n JOIN versions v ON v.logbook = n.logbook AND v.snapshot <= newest AND newest < v.until
  WHERE v.known
), chunk_pairs AS (
  SELECT a.logbook AS a, b.logbook AS b, sum(a.length) AS bytes, count(*) AS chunks
  FROM held a JOIN held b ON a.fingerprint = b.fingerprint AND a.logbook < b.logbook GROUP BY ALL
), file_pairs AS (
  SELECT a.logbook AS a, b.logbook AS b, sum(a.source_bytes) AS bytes
  FROM whole a JOIN whole b ON a.contents = b.contents AND a.logbook < b.logbook GROUP BY ALL
)
SELECT a.logbook AS a, b.logbook AS b,
       coalesce(c.bytes, 0)::BIGINT AS common_bytes, coalesce(c.chunks, 0)::BIGINT AS common_chunks,
       coalesce(f.bytes, 0)::BIGINT AS common_file_bytes
FROM newest a
JOIN newest b ON a.logbook < b.logbook AND a.method = b.method AND a.average_bytes = b.average_bytes AND a.key_check = b.key_check
LEFT JOIN chunk_pairs c ON c.a = a.logbook AND c.b = b.logbook
LEFT JOIN file_pairs f ON f.a = a.logbook AND f.b = b.logbook
ORDER BY a.logbook, b.logbook;
