-- A logbook's files as tables. Before: SET VARIABLE logbooks = 'DIR', a
-- logbook's folder, or a pattern that names several, such as '/srv/logbooks/*'.
-- Only here does a query say where the files lie and how they are read.

-- Whatever is not named by digits is not finished, and listing.parquet only
-- repeats what the rows before it say.
CREATE OR REPLACE TEMP VIEW files AS
SELECT regexp_replace(filename, '[/\\][0-9]+[/\\]files[.]parquet$', '') AS logbook,
       * EXCLUDE (filename),
       kind = 'file' AND state <> 'gone' AND NOT never_read AS known, -- counts in the figures
       size - zero_bytes AS source_bytes,
       -- Text that sorts as a walk meets paths: byte by byte, '/' before all else.
       replace(regexp_replace(hex(path), '(..)', '\1 ', 'g'), '2F ', '00 ') AS walk
FROM read_parquet(getvariable('logbooks') || '/[0-9]*/files.parquet', filename = true);

-- One row for each run that is stored.
CREATE OR REPLACE TEMP VIEW runs AS
SELECT logbook, label, path, snapshot, r.at AS start, r.bytes, r.first, r.chunks
FROM (SELECT logbook, label, path, snapshot, unnest(recipe) AS r FROM files);

CREATE OR REPLACE TEMP VIEW chunks AS
SELECT regexp_replace(filename, '[/\\][0-9]+[/\\]chunks[.]parquet$', '') AS logbook, * EXCLUDE (filename)
FROM read_parquet(getvariable('logbooks') || '/[0-9]*/chunks.parquet', filename = true);

CREATE OR REPLACE TEMP VIEW snapshots AS
SELECT regexp_replace(filename, '[/\\][0-9]+[/\\]segment[.]json$', '') AS logbook,
       number AS snapshot, taken, partial, figures
FROM read_json(getvariable('logbooks') || '/[0-9]*/segment.json', filename = true,
               columns = {number: 'INTEGER', taken: 'VARCHAR', partial: 'BOOLEAN', figures: 'JSON'});

-- Fingerprints and contents can be compared where method, average and
-- key_check are the same.
CREATE OR REPLACE TEMP VIEW logbooks AS
SELECT regexp_replace(filename, '[/\\]logbook[.]json$', '') AS logbook,
       method.name AS method, method.average_bytes AS average_bytes, key.check_value AS key_check
FROM read_json(getvariable('logbooks') || '/logbook.json', filename = true,
               columns = {method: 'STRUCT(name VARCHAR, average_bytes BIGINT)', key: 'STRUCT(check_value VARCHAR)'});
