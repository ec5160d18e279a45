// Package tour makes the example: the file share of a small joinery workshop,
// bench.example.org, over four weeks, with the truth about every night beside
// it. The firm, its files and its troubles are invented; there are no people in
// it.
//
// The package shares no code with what measures: it imports nothing of the
// project, so its truth can be held against the program's figures.
//
// # What is fixed
//
// The same seed and size give the same names, contents, lengths, mtimes and
// hard links on every platform and with every Go version: random numbers,
// contents and encoders are written out here (rng.go, make.go, deflate.go,
// zip.go), the calendar is a table (calendar.go), and mtimes are set from it, in
// even seconds, which every file system keeps. Not fixed, because no program can
// set them: ctimes, inode numbers, what a file occupies on disk, and whether
// zeros are holes. The folders' own mtimes are left as they fall. Hard links are
// needed where the example is laid out.
//
// # The folders and their habits
//
//	workshop/letters          zip-type files: compressed text before a letterhead all share and a picture;
//	                          some are rewritten on working days, the text new, the pictures as before; one is added
//	workshop/drawings         compressible 2:1; on working days two runs in some of them are overwritten
//	workshop/ledger/books.db  scattered 8 KiB page writes on working days; on Sundays its pages are reordered
//	workshop/dumps            one dump, plain and gzipped, both written anew every night: its head differs each
//	                          time, on working days blocks here and there, and a few are put in
//	workshop/logs             kiln.log is appended to every night; once it is renamed, then compressed
//	workshop/site-pictures    incompressible, by site; new ones come on Tuesdays and Thursdays
//	workshop/old-work         by year; never changes
//	workshop/machines         a machine's image, sparse: scattered 4 KiB writes every night; grows into a hole on Fridays
//	workshop/thumbnails       every sheet rewritten every night under its old name (so: edited, not created)
//	workshop/cutting-lists    new lists in open; a working day later each is linked into saw; one that has two
//	                          names is edited in place, and the oldest leaves open
//	workshop/vault/tender.box an encrypted container: scattered writes on Mondays, Wednesdays and Fridays
//	workshop/delivery-notes   new ones on working days
//	workshop/month-end        the month's papers, once
//	annex                     the second share: price lists, showroom pictures (some of them the workshop's), a log
//
// # The nights
//
// Night 0 is the baseline, taken on Monday 2026-03-09 at 01:30 +01:00. Nights 1
// to 28 belong to the dates from 2026-03-09 to 2026-04-05; each is scanned at
// 01:30 of the next date, from 2026-03-30 on at +02:00. Night 12 is not scanned:
// there are 28 snapshots. Beside the habits:
//
//	 3  Wed 11 Mar  folder_unreadable  delivery-notes can't be read; a note is deleted meanwhile
//	 4  Thu 12 Mar  folder_unreadable  … and another written anew
//	 5  Fri 13 Mar  folder_back        readable again: two nights' notes come to light at once
//	 9  Tue 17 Mar  log_renamed        kiln.log becomes kiln.log.1; a fresh one begins
//	10  Wed 18 Mar  log_compressed     kiln.log.1 becomes kiln.log.1.gz
//	11  Thu 19 Mar  time_put_back      the container is written to and its mtime put back
//	12  Fri 20 Mar  run_missed         no scan
//	13  Sat 21 Mar  after_missed_run   two nights in one step
//	15  Mon 23 Mar  root_joined        annex is measured: first seen, not change
//	16  Tue 24 Mar  folder_renamed     a folder of site pictures gets another name
//	17  Wed 25 Mar  pictures_imported  some are there already under other names
//	21  Sun 29 Mar  clock_changed      mtimes of half of old-work (about 100 MB at full size) move by an hour
//	23  Tue 31 Mar  month_end          letters, ledger and dump many times busier; the month's papers
//	25  Thu  2 Apr  folder_scrambled   most drawings become noise under new names
//	26  Fri  3 Apr  folder_restored    … and are restored from a copy
//
// # The page that walks a reader through it
//
// In this order, each step one question a newcomer has, answered by one command
// with the figures of this run:
//
//  1. What is here, and what did the first night measure? (scan: the share, how
//     long it took, what it will cost every night from now on)
//  2. What really changed last night? (change: touched against new; one sentence
//     on why a container, a ledger and an image are touched whole and new in part)
//  3. Why is the stored copy smaller than the source? (explain, top to bottom:
//     hard links, zeros, duplicates, repeated chunks, compression)
//  4. What is a usual night, and which were not? (trend: working days against
//     weekends, the gap of the missed run, the night of partial coverage)
//  5. What happened on the unusual nights? (change of the scrambled night and of
//     the restored one, side by side; alert on the first. Then those that look
//     alarming and cost nothing: the renamed folder, the clock change, the new share)
//  6. What did the figures not see? (the unreadable folder and its coverage; the
//     container whose mtime was put back, found by its ctime)
//  7. How much line, time and space does that need? (estimate after few nights,
//     with its refusals, and after all of them)
//  8. Does the engine's chunk size matter? What could be left out? (curve, whatif:
//     the thumbnails, the dump kept twice)
//  9. Is it true? (the scoreboard: what was really done each night beside what was
//     measured; then where data, truth and logbook lie to play with, and the report)
package tour
