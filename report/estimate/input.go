// Package estimate answers, from measured nights and the needs file, whether
// the nightly run will finish, how long the first upload and a restore take,
// what a retention needs, and which plan fits at what cost. Everything is a pure
// function of its arguments: no clock, no files, no formatting; the same input
// gives the same result. Base units: bytes, seconds, bits a second.
package estimate

import (
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
)

// MeasuredNight is one step from a snapshot to the next. What only first-seen
// files hold is in none of its figures: it is a first upload of its own, as in
// the summaries of the segments, where it is baseline and no change.
type MeasuredNight struct {
	From, To int
	Taken    time.Time // of snapshot To, with its own offset
	Spanned  int       // local dates that the step covers; 1 (or 0) is an ordinary night

	UploadBytes  int64   // new bytes, compressed and with overhead, nothing that came back; −1: not measured, NewBytes stands for it
	NewBytes     int64   // uncompressed
	ScanSeconds  float64 // the scan's own time, ≥ 0
	CoveredShare float64 // of the bytes, 0 to 1
}

// upload is what a nightly run has to send.
func (n *MeasuredNight) upload() float64 {
	if n.UploadBytes < 0 {
		return float64(max(0, n.NewBytes))
	}
	return float64(n.UploadBytes)
}

// Tree is what a restore or a first upload of one tree has to move.
type Tree struct {
	Name        string // raw "label/folder" or path; "" is everything
	Files       int64
	SourceBytes int64 // what is written to disk, zero runs left out
	ZeroBytes   int64 // runs of zeros, written only where the store does not leave holes

	UniqueChunks    int64 // distinct chunks that it refers to; 0: not known, see Input.MeanChunkBytes
	PackedBytes     int64 // its distinct chunks, compressed; −1: not measured, UniqueBytes stands for it
	PackedLowBytes  int64 // bounds of PackedBytes, both 0: as PackedBytes
	PackedHighBytes int64
	UniqueBytes     int64 // its distinct chunks, uncompressed
	OverheadBytes   int64 // of the store
}

// packed is the low, middle and high of what the tree takes on the line.
func (t *Tree) packed() (low, mid, high float64) {
	mid = float64(t.PackedBytes)
	low, high = float64(t.PackedLowBytes), float64(t.PackedHighBytes)
	if t.PackedBytes < 0 {
		mid = float64(t.UniqueBytes)
		low, high = 0, 0
	}
	if low <= 0 && high <= 0 {
		low, high = mid, mid
	}
	over := float64(t.OverheadBytes)
	return min(low, mid) + over, mid + over, max(high, mid) + over
}

// Input is everything that was measured.
type Input struct {
	Taken          []time.Time     // of every snapshot, number 1 first, each with its own offset; at least one
	Nights         []MeasuredNight // in order; empty where only the baseline was measured
	All            Tree            // the newest snapshot
	Folders        []Tree          // its top folders
	OtherFolders   int             // top folders too small to be among them
	Paths          []Tree          // further trees to restore, as asked for
	MeanChunkBytes int64           // measured mean; 0: not known
	Spans          []Span          // see SpansOf; nil: not computed, what rests on lifetimes is refused
	Seed           uint64          // of the bootstrap; the same seed, the same result
	Assumed        []string        // what the figures above rest on beside measurement
}

// Exact says whether what is stored is known to the byte for this profile (nil:
// none): every part measured as this store would hold it, none sampled or modelled.
func (in *Input) Exact(p *engine.Profile) bool {
	if all := &in.All; all.PackedBytes < 0 || all.PackedLowBytes != all.PackedHighBytes || len(in.Assumed) > 0 {
		return false
	}
	for i := range in.Spans {
		if s := &in.Spans[i]; s.Bytes > 0 && measure.Packed(p, s.Packed, s.Bytes) < 0 {
			return false
		}
	}
	return true
}

// loads merges the steps within one date and gives what each night asks of the
// line: what is new, and what came back although the retention no longer held it.
func (in *Input) loads(needs *engine.Needs) []Load {
	var out []Load
	var returning []int64
	if policy := policyOf(needs.Retention); !policy.All {
		returning = returningBytes(in.Spans, in.days(), policy, needs.Profile)
	}
	for i := range in.Nights {
		n := &in.Nights[i]
		night := Night(n.Taken)
		load := Load{Night: night, Bytes: n.upload(), ScanSeconds: n.ScanSeconds, Spanned: max(1, n.Spanned)}
		if n.To >= 1 && n.To <= len(returning) {
			load.Bytes += float64(returning[n.To-1])
		}
		if last := len(out) - 1; last >= 0 && out[last].Night.Equal(night) {
			out[last].Bytes += load.Bytes
			out[last].ScanSeconds += load.ScanSeconds
			continue
		}
		out = append(out, load)
	}
	return out
}

// days are the snapshots' day numbers.
func (in *Input) days() []int {
	out := make([]int, len(in.Taken))
	for i, taken := range in.Taken {
		out[i] = dateOf(Night(taken)).number()
	}
	return out
}
