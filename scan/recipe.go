package scan

import (
	"errors"
	"slices"

	"tidemark/scan/logbook"
)

// maxRuns bounds a recipe in memory: beyond the first 65,536, which fit into what
// every scan takes, a run costs about 150 bytes at peak, so 300 MiB. No file comes
// near it but one made for it, or one of hundreds of gigabytes that was changed in
// a million places: a machine of a gigabyte has to get through the night all the same.
const maxRuns = 1 << 21

// errScattered says that a recipe has more runs.
var errScattered = errors.New("its parts are too scattered to be recorded: more than 2,097,152 stretches; a larger --average in a new logbook has fewer")

// recipeBuilder puts a recipe together, piece by piece.
type recipeBuilder struct {
	runs  logbook.Recipe
	size  int64
	zeros int64
	left  int64 // pieces to come at most
}

// manyRuns is from where on room is made at once for all that may come: making it
// by and by would hold the runs twice now and then.
const manyRuns = 1 << 16

// reset begins the recipe of a file of so many pieces. A large one is not kept room for.
func (b *recipeBuilder) reset(pieces int64) {
	b.runs, b.size, b.zeros, b.left = b.runs[:0], 0, 0, pieces
	if cap(b.runs) > manyRuns {
		b.runs = nil
	}
}

func (b *recipeBuilder) run(r logbook.Run) {
	if len(b.runs) == cap(b.runs) && len(b.runs) >= manyRuns {
		b.runs = slices.Grow(b.runs, int(min(max(b.left, 1), maxRuns)))
	}
	b.runs = append(b.runs, r)
}

func (b *recipeBuilder) chunk(id, length int64) {
	b.left--
	if n := len(b.runs); n > 0 && b.runs[n-1].Chunks > 0 && b.runs[n-1].First+b.runs[n-1].Chunks == id {
		b.runs[n-1].Chunks++
		b.runs[n-1].Bytes += length
	} else {
		b.run(logbook.Run{At: b.size, Bytes: length, First: id, Chunks: 1})
	}
	b.size += length
}

func (b *recipeBuilder) zero(length int64) {
	b.left--
	if n := len(b.runs); n > 0 && b.runs[n-1].Chunks == 0 {
		b.runs[n-1].Bytes += length
	} else {
		b.run(logbook.Run{At: b.size, Bytes: length})
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
