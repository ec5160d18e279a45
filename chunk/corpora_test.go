package chunk

import (
	"flag"
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// corporaFlag names the folders that BenchmarkMethodsOnCorpora and
// BenchmarkSampleOnCorpora look at, each a corpus by itself:
//
//	go test ./chunk -run '^$' -bench OnCorpora -benchtime 1x -corpora DIR,DIR,...
var corporaFlag = flag.String("corpora", "", "comma-separated folders, each a corpus; default: Go's own sources and binaries")

func corpora(b *testing.B) []string {
	b.Helper()
	if *corporaFlag != "" {
		return strings.Split(*corporaFlag, ",")
	}
	root := goRootDir(b)
	return []string{filepath.Join(root, "src"), filepath.Join(root, "pkg")}
}

// chunking is what one way of cutting makes of a corpus.
type chunking struct{ total, unique, chunks int64 }

func (c chunking) mean() float64 { return float64(c.total) / float64(c.chunks) }

// cutWhole cuts every file below dir.
func cutWhole(b *testing.B, p Params, dir string) (c chunking) {
	b.Helper()
	f := NewFingerprinter(Key{})
	seen := map[Fingerprint]bool{}
	cutTree(b, p, dir, func(data []byte) bool {
		c.total += int64(len(data))
		c.chunks++
		if print := f.Print(data); !seen[print] {
			seen[print] = true
			c.unique += int64(len(data))
		}
		return true
	})
	return c
}

// The measurement behind DefaultMethod: the unique bytes that gear leaves
// against those that Rabin leaves at the same mean size as it came out on the
// corpus, read between two of Rabin's averages (unique bytes against the
// logarithm of the mean). Gear is to be within 1 %.
func BenchmarkMethodsOnCorpora(b *testing.B) {
	for _, dir := range corpora(b) {
		b.Run(filepath.Base(dir), func(b *testing.B) {
			for b.Loop() {
				gear := cutWhole(b, params(b, Gear, DefaultAverage), dir)
				// Rabin's two averages whose means lie on either side of gear's.
				average := DefaultAverage / 2
				upper := cutWhole(b, params(b, Rabin, average), dir)
				lower := upper
				for upper.mean() < gear.mean() && average < MaxAverage {
					average *= 2
					lower, upper = upper, cutWhole(b, params(b, Rabin, average), dir)
				}
				if gear.chunks == 0 || gear.total != upper.total || lower.mean() >= gear.mean() || upper.mean() < gear.mean() {
					b.Fatalf("can not compare gear's %+v with rabin's %+v and %+v", gear, lower, upper)
				}
				at := math.Log(gear.mean()/lower.mean()) / math.Log(upper.mean()/lower.mean())
				same := float64(lower.unique) + at*float64(upper.unique-lower.unique)
				worse := 100 * (float64(gear.unique)/same - 1)
				if worse > 1 {
					b.Errorf("gear leaves %.2f %% more unique bytes than rabin at the same mean size", worse)
				}
				b.ReportMetric(float64(gear.total)/1e6, "MB")
				b.ReportMetric(gear.mean(), "gear-B/chunk")
				b.ReportMetric(lower.mean(), "rabin-lower-B/chunk")
				b.ReportMetric(upper.mean(), "rabin-upper-B/chunk")
				b.ReportMetric(float64(gear.unique)/1e6, "gear-unique-MB")
				b.ReportMetric(same/1e6, "rabin-same-mean-unique-MB")
				b.ReportMetric(worse, "worse-%")
			}
		})
	}
}

// The measurement behind sampleShares: how often the 95 % interval holds what
// compressing everything gives, and its half width at 1 GB of such data.
func BenchmarkSampleOnCorpora(b *testing.B) {
	for _, dir := range corpora(b) {
		b.Run(filepath.Base(dir), func(b *testing.B) {
			for b.Loop() {
				population := compressAll(b, dir, 1e9)
				length, packed := totals(population)
				share, half, bias := coverage(newRand(9), population, 500)
				b.ReportMetric(float64(length)/1e6, "MB")
				b.ReportMetric(float64(packed)/float64(length), "packed/B")
				b.ReportMetric(100*share, "covered-%")
				b.ReportMetric(100*half, "half-%")
				b.ReportMetric(100*half*math.Sqrt(float64(length)/1e9), "half-at-1GB-%")
				b.ReportMetric(100*bias, "bias-%")
			}
		})
	}
}
