-- From the sizes of all names to unique bytes, for every snapshot. After recipes.sql.
WITH entries AS (
  SELECT s.logbook, s.snapshot, v.size, v.zero_bytes, v.source_bytes, v.hardlink, v.contents
  FROM snapshots s JOIN versions v ON v.logbook = s.logbook AND v.snapshot <= s.snapshot AND s.snapshot < v.until
  WHERE v.known
), sizes AS (
  SELECT logbook, snapshot, sum(size) AS apparent,
         coalesce(sum(size) FILTER (hardlink), 0) AS hardlink,
         coalesce(sum(zero_bytes) FILTER (NOT hardlink), 0) AS zero,
         coalesce(sum(source_bytes) FILTER (NOT hardlink), 0) AS source
  FROM entries GROUP BY ALL
), twice AS (
  SELECT logbook, snapshot, sum(bytes) AS duplicate_file
  FROM (SELECT logbook, snapshot, contents, max(source_bytes) * (count(*) - 1) AS bytes
        FROM entries WHERE NOT hardlink GROUP BY logbook, snapshot, contents)
  GROUP BY ALL
), held AS (
  SELECT DISTINCT s.logbook, s.snapshot, unnest(range(r.first, r.first + r.chunks)) AS id
  FROM snapshots s JOIN recipes r ON r.logbook = s.logbook AND r.snapshot <= s.snapshot AND s.snapshot < r.until
  WHERE r.chunks > 0
), once AS (
  SELECT held.logbook, held.snapshot, sum(length) AS unique_, count(*) AS chunks
  FROM held JOIN chunks c ON c.logbook = held.logbook AND c.id = held.id GROUP BY ALL
)
SELECT s.logbook, s.snapshot,
       coalesce(apparent, 0)::BIGINT AS apparent_bytes,
       coalesce(hardlink, 0)::BIGINT AS hardlink_bytes,
       coalesce(zero, 0)::BIGINT AS zero_bytes,
       coalesce(source, 0)::BIGINT AS source_bytes,
       coalesce(duplicate_file, 0)::BIGINT AS duplicate_file_bytes,
       (coalesce(source, 0) - coalesce(duplicate_file, 0) - coalesce(unique_, 0))::BIGINT AS duplicate_chunk_bytes,
       coalesce(unique_, 0)::BIGINT AS unique_bytes,
       coalesce(chunks, 0)::BIGINT AS unique_chunks
FROM snapshots s
LEFT JOIN sizes USING (logbook, snapshot) LEFT JOIN twice USING (logbook, snapshot) LEFT JOIN once USING (logbook, snapshot)
ORDER BY s.logbook, s.snapshot;
