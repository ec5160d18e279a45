package view

import (
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

// Invented figures, not measured anywhere; they keep the identities.

var berlin = time.FixedZone("", 2*60*60)

func inventedFacts(t *testing.T) Facts {
	t.Helper()
	params, err := chunk.NewParams(chunk.Rabin, chunk.DefaultAverage)
	if err != nil {
		t.Fatal(err)
	}
	f := Facts{Params: params}
	for n := 1; n <= 3; n++ {
		f.Segments = append(f.Segments, logbook.Segment{
			Number:   n,
			Taken:    time.Date(2026, 10, n, 22, 0, 0, 0, berlin),
			Coverage: logbook.Coverage{Files: 120, ApparentBytes: 1_300_000, CoveredShare: 1},
		})
	}
	return f
}

func inventedExplain() *measure.Explain {
	return &measure.Explain{
		Snapshot: 3,
		ExplainTotals: logbook.ExplainTotals{
			Files: 118, Names: 120,
			ApparentBytes: 1_300_000, HardlinkBytes: 50_000, ZeroBytes: 250_000, SourceBytes: 1_000_000,
			DuplicateFileBytes: 300_000, DuplicateChunkBytes: 100_000,
			UniqueBytes: 600_000, UniqueChunks: 7, References: 12,
			MeasuredBytes: 600_000, MeasuredPackedBytes: 400_000,
			CompressedBytes: 400_000, CompressedLowBytes: 400_000, CompressedHighBytes: 400_000,
		},
		CompressionBytes: 200_000,
		StoredBytes:      400_000,
		ByType: []measure.ExplainSplit{
			{Name: "", Files: 18, ApparentBytes: 300_000, SourceBytes: 100_000, UniqueBytes: 100_000, CompressedBytes: 80_000, ExclusiveBytes: 90_000},
			{Name: "jpg", Files: 100, ApparentBytes: 1_000_000, SourceBytes: 900_000, UniqueBytes: 500_000, CompressedBytes: 320_000, ExclusiveBytes: 490_000},
		},
		ByFolder: []measure.ExplainSplit{
			{Name: "share/\xff", Files: 118, ApparentBytes: 1_300_000, SourceBytes: 1_000_000, UniqueBytes: 600_000, CompressedBytes: 400_000, ExclusiveBytes: 600_000},
		},
	}
}

func unmeasuredExplain() *measure.Explain {
	m := inventedExplain()
	m.CompressedBytes, m.CompressedLowBytes, m.CompressedHighBytes = -1, -1, -1
	m.MeasuredBytes, m.MeasuredPackedBytes = 0, 0
	m.CompressionBytes, m.StoredBytes = -1, -1
	for i := range m.ByType {
		m.ByType[i].CompressedBytes = -1
	}
	for i := range m.ByFolder {
		m.ByFolder[i].CompressedBytes = -1
	}
	return m
}

func inventedChange() *measure.Change {
	return &measure.Change{
		ChangeTotals: logbook.ChangeTotals{
			From: 2, To: 3, Spanned: 1,
			TouchedFiles: 9, TouchedBytes: 900_000, ChangedFiles: 7, ChangedBytes: 710_000,
			NewChunks: 3, NewBytes: 120_000, NewCompressedBytes: 80_000,
			ReturningChunks: 1, ReturningBytes: 40_000, ReturningPacked: 30_000, FreedBytes: 15_000,
			FirstSeenFiles: 2, FirstSeenBytes: 60_000, FirstSeenNewBytes: 55_000,
			Causes: []logbook.CauseTotals{
				{Cause: "first_seen", Files: 2, Bytes: 60_000},
				{Cause: "moved", Files: 1, Bytes: 300_000},
				{Cause: "returned", Files: 1, Bytes: 40_000},
				{Cause: "created", Files: 1, Bytes: 110_000, NewBytes: 100_000},
				{Cause: "edited", Files: 4, Bytes: 260_000, NewBytes: 20_000},
				{Cause: "restamped", Files: 3, Bytes: 200_000},
				{Cause: "deleted", Files: 1, Bytes: 15_000},
			},
		},
		UploadBytes:   80_000,
		StillNewBytes: 120_000,
		Nights:        []measure.Night{{From: 2, To: 3, Spanned: 1, TouchedBytes: 900_000, ChangedBytes: 710_000, NewBytes: 120_000}},
		ByFolder: []measure.ChangeSplit{
			{Name: "share/old", TouchedFiles: 5, TouchedBytes: 500_000, ChangedBytes: 310_000, NewBytes: 20_000, NewPacked: 15_000},
			{Name: "share/work", TouchedFiles: 4, TouchedBytes: 400_000, ChangedBytes: 400_000, NewBytes: 100_000, NewPacked: 65_000, NewNames: 3},
		},
		ByType: []measure.ChangeSplit{
			{Name: "dwg", TouchedFiles: 9, TouchedBytes: 900_000, ChangedBytes: 710_000, NewBytes: 120_000, NewPacked: 80_000, NewNames: 3},
		},
		Top: []measure.FileChange{
			{Label: "share", Path: []byte("work/a.dwg"), Cause: measure.Created, Nights: 1, TouchedBytes: 110_000, NewBytes: 100_000},
			{Label: "share", Path: []byte("old/\xfe.dwg"), Cause: measure.Edited, Nights: 1, TouchedBytes: 90_000, NewBytes: 20_000},
		},
	}
}

var inventedProfile = &engine.Profile{Name: "store\x1b[2J", PerChunkBytes: 100, PerFileBytes: 10}
