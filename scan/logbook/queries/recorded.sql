-- What the program recorded beside each snapshot; to be held against
-- explain.sql and new.sql. After tables.sql. Empty where it was not measured.
SELECT logbook, snapshot, taken, partial,
       (figures->>'$.explain.unique_bytes')::BIGINT AS unique_bytes,
       (figures->>'$.explain.duplicate_file_bytes')::BIGINT AS duplicate_file_bytes,
       (figures->>'$.change.new_bytes')::BIGINT AS new_bytes
FROM snapshots ORDER BY logbook, snapshot;
