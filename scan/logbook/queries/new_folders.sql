-- new_bytes by folder, for every night: a new chunk counts where the first
-- changed file in walk order holds it. After recipes.sql.
WITH fresh AS (
  SELECT v.logbook, v.snapshot, v.label, v.walk, unnest(range(r.first, r.first + r.chunks)) AS id
  FROM versions v JOIN runs r USING (logbook, label, path, snapshot)
  WHERE v.known AND NOT v.baseline AND v.snapshot > 1 AND r.chunks > 0
), owners AS (
  SELECT f.logbook, f.snapshot, f.label, c.length,
         CASE WHEN contains(walk, '00 ') THEN split_part(walk, '00 ', 1) ELSE '' END AS folder,
         row_number() OVER (PARTITION BY f.logbook, f.snapshot, f.id ORDER BY f.label, walk) AS place
  FROM fresh f JOIN chunks c ON c.logbook = f.logbook AND c.snapshot = f.snapshot AND c.id = f.id
)
SELECT logbook, snapshot, label,
       CASE WHEN folder = '' THEN '.' ELSE unhex(replace(folder, ' ', ''))::VARCHAR END AS folder,
       sum(length)::BIGINT AS new_bytes
FROM owners WHERE place = 1
GROUP BY logbook, snapshot, label, owners.folder
ORDER BY logbook, snapshot, label, owners.folder;
