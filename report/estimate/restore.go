package estimate

import (
	"math"

	"tidemark/report/engine"
)

// What a restore waits for most.
const (
	OnLine     = "line"     // the download
	OnRequests = "requests" // asking for objects, one delay each
	OnDisk     = "disk"     // writing
	OnFiles    = "files"    // making files, whatever their size
)

// RestoreTime is how long it takes to get a tree back over one line.
//
// Download, requests and writing go on beside each other in a good client and
// one after the other in a poor one. Seconds takes the longest of the three, as
// does Low with the low bound of the compressed size; High takes their sum with
// the high bound and with zero runs written out, too. The human delay is in each.
type RestoreTime struct {
	Name               string
	Low, Seconds, High float64
	Bottleneck         string // OnLine, OnRequests, OnDisk or OnFiles, of Seconds

	// Parts of Seconds, each alone.
	LineSeconds, RequestSeconds, DiskSeconds, FileSeconds, HumanSeconds float64

	DownloadBytes float64
	Requests      float64
}

// Restore estimates a restore: download at the line's nominal down rate times
// efficiency (the limits hold the upload only); one request an object, so many
// at a time, each after its delay; writing at the disk's rate and a fixed cost
// a file. ok is false where the line has no down rate.
func Restore(t *Tree, line *engine.Line, r *engine.Restore, p *engine.Profile, meanChunk int64) (out RestoreTime, ok bool) {
	rate := line.DownBitsPerSecond * line.Efficiency
	if rate <= 0 {
		return RestoreTime{}, false
	}
	low, mid, high := t.packed()
	out = RestoreTime{
		Name:          t.Name,
		DownloadBytes: mid,
		Requests:      requests(t, mid, p, meanChunk),
		LineSeconds:   mid * 8 / rate,
		FileSeconds:   float64(t.Files) * r.PerFileSeconds,
		HumanSeconds:  r.HumanDelaySeconds,
	}
	// Rounds of parallel requests; the last one may be part empty.
	out.RequestSeconds = math.Ceil(out.Requests/float64(max(1, r.ParallelRequests))) * r.RequestDelaySeconds
	writes := 0.0
	if r.DiskBytesPerSecond > 0 {
		out.DiskSeconds = float64(t.SourceBytes) / r.DiskBytesPerSecond
		writes = float64(t.ZeroBytes) / r.DiskBytesPerSecond
	}
	disk := out.DiskSeconds + out.FileSeconds
	longest := max(out.LineSeconds, out.RequestSeconds, disk)
	switch longest {
	case out.LineSeconds:
		out.Bottleneck = OnLine
	case out.RequestSeconds:
		out.Bottleneck = OnRequests
	default:
		out.Bottleneck = OnDisk
		if out.FileSeconds > out.DiskSeconds {
			out.Bottleneck = OnFiles
		}
	}
	out.Seconds = r.HumanDelaySeconds + longest
	out.Low = r.HumanDelaySeconds + max(low*8/rate, out.RequestSeconds, disk)
	out.High = r.HumanDelaySeconds + high*8/rate + out.RequestSeconds + disk + writes
	return out, true
}

// requests is how many objects a tree is fetched in: bundles, files, or chunks.
func requests(t *Tree, packed float64, p *engine.Profile, meanChunk int64) float64 {
	if packed <= 0 {
		return 0
	}
	switch {
	case p != nil && p.BundleBytes > 0:
		return math.Ceil(packed / float64(p.BundleBytes))
	case p != nil && p.Unit == engine.WholeFile:
		return float64(t.Files)
	case t.UniqueChunks > 0:
		return float64(t.UniqueChunks)
	case meanChunk > 0:
		return math.Ceil(float64(t.UniqueBytes) / float64(meanChunk))
	}
	return float64(t.Files)
}
