-- unique_bytes by folder, for every snapshot: a chunk counts where the first
-- file in walk order holds it. exclusive_bytes: nothing outside holds it. After
-- recipes.sql. Folders are raw bytes; shown with \xNN for what is not plain ASCII.
WITH held AS (
  SELECT DISTINCT s.logbook, s.snapshot, v.label, v.walk, unnest(range(r.first, r.first + r.chunks)) AS id
  FROM snapshots s
  JOIN recipes r ON r.logbook = s.logbook AND r.snapshot <= s.snapshot AND s.snapshot < r.until
  JOIN files v ON v.logbook = r.logbook AND v.label = r.label AND v.path = r.path AND v.snapshot = r.snapshot
  WHERE r.chunks > 0
), placed AS (
  SELECT *, CASE WHEN contains(walk, '00 ') THEN split_part(walk, '00 ', 1) ELSE '' END AS folder FROM held
), owners AS (
  SELECT *, row_number() OVER (PARTITION BY logbook, snapshot, id ORDER BY label, walk) = 1 AS owner,
         min(label || '/' || folder) OVER every = max(label || '/' || folder) OVER every AS alone
  FROM placed
  WINDOW every AS (PARTITION BY logbook, snapshot, id)
)
SELECT o.logbook, o.snapshot, o.label,
       CASE WHEN folder = '' THEN '.' ELSE unhex(replace(folder, ' ', ''))::VARCHAR END AS folder,
       sum(length)::BIGINT AS unique_bytes,
       coalesce(sum(length) FILTER (alone), 0)::BIGINT AS exclusive_bytes
FROM owners o JOIN chunks c ON c.logbook = o.logbook AND c.id = o.id
WHERE owner
GROUP BY o.logbook, o.snapshot, o.label, o.folder
ORDER BY o.logbook, o.snapshot, o.label, o.folder;
