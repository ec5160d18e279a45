package chunk

import (
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// goText is about n bytes of Go's own sources, one file after the other.
func goText(b *testing.B, n int) []byte {
	b.Helper()
	var text []byte
	err := filepath.WalkDir(filepath.Join(goRootDir(b), "src"), func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() || filepath.Ext(path) != ".go" {
			return err
		}
		if len(text) >= n {
			return io.EOF
		}
		data, err := os.ReadFile(path)
		text = append(text, data...)
		return err
	})
	if err != nil && err != io.EOF {
		b.Fatal(err)
	}
	return text
}

func BenchmarkSplitter(b *testing.B) {
	inputs := map[string][]byte{"random": randomBytes(1, 32<<20), "text": goText(b, 32<<20)}
	for _, method := range methods {
		for _, name := range []string{"random", "text"} {
			b.Run(string(method)+"/"+name, func(b *testing.B) {
				data := inputs[name]
				p := params(b, method, DefaultAverage)
				s := newSplitter(b, p)
				batch := NewBatch(p)
				src := &plain{data: data}
				b.SetBytes(int64(len(data)))
				b.ReportAllocs()
				chunks := 0
				for b.Loop() {
					src.off = 0
					s.Open(src)
					chunks = 0
					for done := false; !done; {
						batch.Reset()
						var err error
						if done, err = s.Fill(batch); err != nil {
							b.Fatal(err)
						}
						chunks += len(batch.Pieces)
					}
				}
				b.ReportMetric(float64(len(data))/float64(chunks), "B/chunk")
			})
		}
	}
}

// Many small files into one batch after another.
func BenchmarkSplitterSmallFiles(b *testing.B) {
	const size = 5000
	for _, method := range methods {
		b.Run(string(method), func(b *testing.B) {
			p := params(b, method, DefaultAverage)
			s := newSplitter(b, p)
			batch := NewBatch(p)
			src := &plain{data: randomBytes(1, size)}
			b.SetBytes(size)
			b.ReportAllocs()
			for b.Loop() {
				if batch.Full() {
					batch.Reset()
				}
				src.off = 0
				s.Open(src)
				for done := false; !done; {
					var err error
					if done, err = s.Fill(batch); err != nil {
						b.Fatal(err)
					}
					if !done {
						batch.Reset()
					}
				}
			}
		})
	}
}

func BenchmarkFingerprinter(b *testing.B) {
	for _, v := range []struct {
		name string
		size int
	}{{"5KB", 5000}, {"96KiB", 96 << 10}} {
		b.Run(v.name, func(b *testing.B) {
			f := NewFingerprinter(Key{})
			data := randomBytes(1, v.size)
			b.SetBytes(int64(v.size))
			b.ReportAllocs()
			for b.Loop() {
				f.Print(data)
			}
		})
	}
}

func BenchmarkCompressor(b *testing.B) {
	all := kinds(b)
	for _, name := range []string{"random", "gzip", "text", "binary", "base64", "words"} {
		b.Run(name, func(b *testing.B) {
			const size = 96 << 10
			data := all[name]
			data = data[:len(data)/size*size]
			c := NewCompressor()
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			packed := 0
			for b.Loop() {
				packed = 0
				for at := 0; at < len(data); at += size {
					packed += int(c.Packed(data[at : at+size]))
				}
			}
			b.ReportMetric(float64(packed)/float64(len(data)), "packed/B")
		})
	}
}
