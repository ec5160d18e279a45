// Command sidebyside makes the trees that bench.sh measures and holds the plain
// loop that it measures against.
//
//	sidebyside random DIR FILES BYTES    FILES files of random bytes, BYTES in all
//	sidebyside tree DIR ENTRIES          a share's tree: ENTRIES names, folders included
//	sidebyside mixed DIR BYTES FROM...   copies of files below FROM..., BYTES in all
//	sidebyside change DIR ROUND          rewrites files that hold 1 % of DIR's bytes; prints their paths, each with a NUL
//	sidebyside loop DIR                  the plain loop
package main

import (
	"bufio"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/klauspost/compress/zstd"
	"github.com/restic/chunker"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "sidebyside:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) < 2 {
		return errors.New("which, and where?")
	}
	verb, dir, rest := args[0], args[1], args[2:]
	var numbers []int64
	for _, a := range rest {
		n, err := strconv.ParseInt(a, 10, 64)
		if err != nil {
			break // paths from here on
		}
		numbers = append(numbers, n)
	}
	switch {
	case verb == "random" && len(numbers) == 2:
		return makeRandom(dir, numbers[0], numbers[1])
	case verb == "tree" && len(numbers) == 1:
		return makeTree(dir, numbers[0])
	case verb == "mixed" && len(numbers) == 1 && len(rest) > 1:
		return copyMixed(dir, numbers[0], rest[1:])
	case verb == "change" && len(numbers) == 1:
		return change(dir, uint64(numbers[0]))
	case verb == "loop" && len(rest) == 0:
		return loop(dir)
	}
	return fmt.Errorf("%q: unknown, or not with these arguments", verb)
}

func write(path string, size int64, from io.Reader) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if _, err := io.CopyN(f, from, size); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

func seeded(seed uint64) *rand.ChaCha8 {
	var s [32]byte
	for i := range 8 {
		s[i] = byte(seed >> (8 * i))
	}
	return rand.NewChaCha8(s)
}

func makeRandom(dir string, files, bytes int64) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	for i := range files {
		if err := write(filepath.Join(dir, fmt.Sprintf("random-%d", i)), bytes/files, seeded(uint64(i))); err != nil {
			return err
		}
	}
	return nil
}

// perFolder is how many files lie in a folder of the tree.
const perFolder = 40

// makeTree makes files of 8 KB on average, of a log-normal law, half of them
// text and half of them bytes that do not compress.
func makeTree(dir string, entries int64) error {
	r := rand.New(seeded(1 << 32))
	for n := int64(0); n < entries; {
		folder := filepath.Join(dir, fmt.Sprintf("customer-%03d", n/(50*perFolder)), fmt.Sprintf("order-%05d", n/perFolder))
		if err := os.MkdirAll(folder, 0o777); err != nil {
			return err
		}
		n++
		for i := 0; i < perFolder && n < entries; i++ {
			size := min(int64(math.Exp(r.NormFloat64()*1.5)*2600), 1<<20)
			if err := fill(filepath.Join(folder, fmt.Sprintf("drawing %02d of %d.dat", i, n)), size, uint64(n)); err != nil {
				return err
			}
			n++
		}
	}
	return nil
}

func fill(path string, size int64, seed uint64) error {
	if seed%2 == 0 {
		return write(path, size, seeded(seed))
	}
	return write(path, size, &text{r: rand.New(seeded(seed))})
}

var words = strings.Fields("oak beech ash larch board plank joint tenon mortise dovetail glue plane saw chisel drawer door hinge lock stair tread window frame sill customer order price hour")

// text is an endless list of words and numbers.
type text struct {
	r    *rand.Rand
	rest []byte
}

func (t *text) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		if len(t.rest) == 0 {
			t.rest = fmt.Appendf(t.rest, "%s %s %d\n", words[t.r.IntN(len(words))], words[t.r.IntN(len(words))], t.r.IntN(1e6))
		}
		m := copy(p[n:], t.rest)
		t.rest, n = t.rest[m:], n+m
	}
	t.rest = t.rest[:0]
	return n, nil
}

// files calls use for each regular file below dir, in name order.
func files(dir string, use func(path string, size int64) error) error {
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		return use(path, info.Size())
	})
}

// change rewrites every hundredth file, another one each round, until a
// hundredth of the bytes was rewritten.
func change(dir string, round uint64) error {
	var total, changed int64
	if err := files(dir, func(_ string, size int64) error { total += size; return nil }); err != nil {
		return err
	}
	out := bufio.NewWriter(os.Stdout)
	n := uint64(0)
	for pass := uint64(0); pass < 100 && changed < total/100; pass++ {
		err := files(dir, func(path string, size int64) error {
			n++
			if (n+round*7+pass)%100 != 0 || size == 0 || changed >= total/100 || size > total/100 {
				return nil
			}
			changed += size
			fmt.Fprint(out, path, "\x00")
			return fill(path, size, round<<32+n)
		})
		if err != nil {
			return err
		}
	}
	return out.Flush()
}

func copyMixed(dir string, most int64, from []string) error {
	var done int64
	enough := errors.New("enough")
	for i, top := range from {
		share := most * int64(i+1) / int64(len(from))
		err := files(top, func(path string, size int64) error {
			if done >= share {
				return enough
			}
			name, err := filepath.Rel(top, path)
			if err != nil {
				return err
			}
			f, err := os.Open(path)
			if err != nil {
				return nil // another user's
			}
			defer f.Close()
			to := filepath.Join(dir, strconv.Itoa(i), name)
			if err := os.MkdirAll(filepath.Dir(to), 0o777); err != nil {
				return err
			}
			done += size
			return write(to, size, f)
		})
		if err != nil && err != enough {
			return err
		}
	}
	if done < most/2 {
		return fmt.Errorf("only %d bytes of real data below %v", done, from)
	}
	return nil
}

// loop is what one would write first: one file after the other, the library's
// chunker at 64 KiB, SHA-256, and each chunk that was not seen before through
// the encoder at its fastest.
func loop(dir string) error {
	const pol = chunker.Pol(0x3DA3358B4DC173)
	encoder, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	if err != nil {
		return err
	}
	seen := map[[32]byte]bool{}
	var total, unique, packed int64
	data, out := make([]byte, 512<<10), []byte(nil)
	cut := chunker.NewWithBoundaries(nil, pol, 16<<10, 512<<10)
	err = files(dir, func(path string, _ int64) error {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		cut.ResetWithBoundaries(f, pol, 16<<10, 512<<10)
		cut.SetAverageBits(16)
		for {
			c, err := cut.Next(data)
			if err == io.EOF {
				return nil
			}
			if err != nil {
				return err
			}
			total += int64(c.Length)
			sum := sha256.Sum256(c.Data)
			if seen[sum] {
				continue
			}
			seen[sum] = true
			unique += int64(c.Length)
			out = encoder.EncodeAll(c.Data, out[:0])
			packed += int64(min(len(out), len(c.Data)))
		}
	})
	fmt.Printf("%d bytes, %d unique, %d compressed\n", total, unique, packed)
	return err
}
