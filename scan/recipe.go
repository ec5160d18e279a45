package scan

import (
	"errors"

	"tidemark/scan/logbook"
)

// maxRuns bounds a recipe in memory: 32 bytes a run, 128 MiB. No file comes near
// it but one made for it, or one of hundreds of gigabytes that is changed in
// millions of places.
const maxRuns = 1 << 22

// errScattered says that a recipe has more runs.
var errScattered = errors.New("its parts are too scattered to be recorded: more than 4,194,304 stretches; a larger --average in a new logbook has fewer")

// recipeBuilder puts a recipe together, piece by piece.
type recipeBuilder struct {
	runs  logbook.Recipe
	size  int64
	zeros int64
}

func (b *recipeBuilder) reset() { b.runs, b.size, b.zeros = b.runs[:0], 0, 0 }

func (b *recipeBuilder) chunk(id, length int64) {
	if n := len(b.runs); n > 0 && b.runs[n-1].Chunks > 0 && b.runs[n-1].First+b.runs[n-1].Chunks == id {
		b.runs[n-1].Chunks++
		b.runs[n-1].Bytes += length
	} else {
		b.runs = append(b.runs, logbook.Run{At: b.size, Bytes: length, First: id, Chunks: 1})
	}
	b.size += length
}

func (b *recipeBuilder) zero(length int64) {
	if n := len(b.runs); n > 0 && b.runs[n-1].Chunks == 0 {
		b.runs[n-1].Bytes += length
	} else {
		b.runs = append(b.runs, logbook.Run{At: b.size, Bytes: length})
	}
	b.size += length
	b.zeros += length
}

// isAppended says whether contents that consist of the pieces of next begin
// with all of old. tail is the id of the chunk that the stretch from the
// beginning of the piece that reaches over old's end up to that end would be, 0
// if there is none.
//
// The chunks before old's last one end where the contents made them end, so
// they come again as they were. The last one ended with the file; in longer
// contents the cut comes later, and what lies before old's end is settled by
// tail. Zeros that reach over old's end may move the cuts before it: then a file
// that was appended to counts as edited.
func isAppended(old, next logbook.Recipe, tail int64) bool {
	if len(old) == 0 {
		return false
	}
	size := old[len(old)-1].At + old[len(old)-1].Bytes
	i, used := 0, int64(0) // runs and chunks of next that are matched
	for n, run := range old {
		last := n == len(old)-1
		if run.Chunks == 0 {
			if i >= len(next) || used != 0 || next[i].Chunks != 0 || next[i].At != run.At {
				return false
			}
			if next[i].Bytes == run.Bytes || last && next[i].Bytes > run.Bytes {
				i++
				continue
			}
			return false
		}
		for done := int64(0); done < run.Chunks; {
			if i >= len(next) || next[i].Chunks == 0 {
				return false
			}
			if id := run.First + done; next[i].First+used != id {
				// Only the very last chunk may be another: it is longer now.
				return last && done == run.Chunks-1 && tail != 0 && tail == id
			}
			step := min(run.Chunks-done, next[i].Chunks-used)
			done += step
			if used += step; used == next[i].Chunks {
				i, used = i+1, 0
			}
		}
	}
	return size > 0
}
