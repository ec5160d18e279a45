package scan

import (
	"sync"
	"sync/atomic"
	"time"
	"unsafe"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// The way of a file to be read:
//
//	merger → reader: opens, reads and cuts → hashers: fingerprint, compress → committer
//
// Contents travel in works: a batch of chunks of one or more files. Each reader
// takes the next file in walk order and hands its works on in the order it made
// them, so the committer, who goes by walk order, finds the parts of a file by
// asking the reader that took it.
//
// A work's bytes are needed until it is fingerprinted, and its pieces, which are
// small, until they are committed. So there are a few buffers and many works, and
// readers of large files keep every core busy, each with a file of its own: then
// a reader fingerprints its works itself, while their bytes are in its core's
// cache. It hands them to the hashers where other readers wait, and where it had
// to wait for the disk itself.
//
// Nobody waits for ever: each reader has works and rings of its own, and the one
// that is reading the committer's file finds room there, for what it handed on
// before was committed before. A buffer it finds too: a reader holds one at most,
// there is one more than readers, and hashers, who hold the others, wait for
// nothing but the table, which the committer loads before it asks for any work.

// work is a batch on its way.
type work struct {
	buf    []byte               // nil once it is fingerprinted
	pieces stretch[chunk.Piece] // their bytes are in buf
	parts  stretch[part]
	ready  chan struct{} // one value when it is fingerprinted
}

// part is some of a file's pieces in a batch.
type part struct {
	it       *item
	from, to int   // pieces of the batch
	off      int64 // of the first piece in the file
	restart  bool  // what came before of this file does not count
	last     bool  // the file ends, or was given up

	// Where these pieces hold the end of the old contents: the fingerprint of the
	// piece's beginning up to there, set by the hasher.
	tail    chunk.Fingerprint
	tailSet bool
}

// Look-ahead in items, of each reader in works, and of all together in buffers and
// in bytes that pieces take.
const (
	itemAhead   = 512
	worksEach   = 512
	buffersMost = 8
	piecesBytes = 640 << 10
)

// buffers is how many there are: one for each reader, and while fewer readers have
// something to do, some for the hashers. The second to spare saves a tenth of the
// time of one large file; more only cost memory.
func (n workers) buffers(params chunk.Params) int {
	least := n.readers + 1
	if params.Max > 4<<20 {
		return least // batches hold two chunks of the greatest length
	}
	return max(least, min(n.hashers+2, 5), min(n.hashers, buffersMost))
}

// piecesEach is how many pieces each of several readers may have on their way: at
// least twice what one work can have, which a ring needs.
func piecesEach(readers int, params chunk.Params) int {
	// A chunk is as short as Min, or as the block between two runs of zeros, which
	// is a piece too. What is shorter ends a file, or a reading of it. (And the end
	// of a buffer is never filled: see chunk.Batch.Full.)
	most := 2*params.BatchBytes()/min(params.Min, chunk.ZeroAlign) + 2*maxParts
	return max(2*most, piecesBytes/readers/int(unsafe.Sizeof(chunk.Piece{})))
}

type pipeline struct {
	s       *scanner
	params  chunk.Params
	key     chunk.Key
	mode    CompressMode
	jobs    chan *item
	hash    chan *work   // to the hashers; holds as many as have buffers
	tools   chan *hasher // what hashing takes; as many as may hash at a time
	buffers chan []byte  // for works' bytes; nil: not made yet
	busy    atomic.Int32 // readers that do not wait for the committer, a buffer or a file to read
	readers []*reader
	hashers int
	table   *logbook.Table // set before tableUp is closed; nil: the scan ends
	tableUp chan struct{}
	closed  sync.Once
	running sync.WaitGroup // readers
	hashing sync.WaitGroup
}

// newPipeline starts the readers and the hashers. They end once jobs is closed
// and all they hold was taken.
func newPipeline(s *scanner, key chunk.Key, params chunk.Params, mode CompressMode, n workers) (*pipeline, error) {
	p := &pipeline{
		s: s, key: key, params: params, mode: mode,
		jobs:    make(chan *item, itemAhead),
		hash:    make(chan *work, n.buffers(params)),
		tools:   make(chan *hasher, n.hashers),
		buffers: make(chan []byte, n.buffers(params)),
		tableUp: make(chan struct{}),
		hashers: n.hashers,
	}
	for range cap(p.buffers) {
		p.buffers <- nil
	}
	for range n.readers {
		r, err := p.newReader(worksEach, piecesEach(n.readers, params))
		if err != nil {
			return nil, err
		}
		if n.rotating && s.o.Rate == 0 { // what the system reads ahead is not counted
			r.most = sweepFiles
		}
		p.readers = append(p.readers, r)
	}
	for _, r := range p.readers {
		p.running.Add(1)
		go r.run()
	}
	for range n.hashers {
		p.tools <- p.newHasher()
		p.hashing.Add(1)
		go func() {
			defer p.hashing.Done()
			for w := range p.hash {
				p.buffers <- p.fingerprint(w)
			}
		}()
	}
	return p, nil
}

// handOn gives a work to the hashers, unless the readers keep every core busy and
// the work's own did not have to wait for its bytes.
func (p *pipeline) handOn(w *work, waited bool) bool {
	if !waited && int(p.busy.Load()) >= p.hashers {
		return false
	}
	p.hash <- w
	return true
}

// haveWaited says whether filling a work took so long that its reader must have
// waited for the disk, or been held back: about three times as long as it takes
// with everything in memory. Then the next bytes have to be asked for at once.
// Whoever is wrong about it loses a little time.
func haveWaited(took time.Duration, bytes, files int) bool {
	return took > time.Duration(bytes)*time.Nanosecond+time.Duration(files)*50*time.Microsecond
}

// fingerprint makes a work ready, and returns its buffer.
func (p *pipeline) fingerprint(w *work) []byte {
	<-p.tableUp
	h := <-p.tools
	h.work(w)
	p.tools <- h
	buf := w.buf[:0]
	w.buf = nil
	w.ready <- struct{}{}
	return buf
}

// setTable lets the hashers begin; nil: nothing more counts.
func (p *pipeline) setTable(t *logbook.Table) {
	p.closed.Do(func() {
		p.table = t
		close(p.tableUp)
	})
}

// wait returns once all goroutines have ended; jobs must be closed.
func (p *pipeline) wait() {
	p.setTable(nil)
	p.running.Wait()
	close(p.hash)
	p.hashing.Wait()
}

// hasher fingerprints and compresses.
type hasher struct {
	p     *pipeline
	print *chunk.Fingerprinter
	pack  *chunk.Compressor
}

func (p *pipeline) newHasher() *hasher {
	h := &hasher{p: p, print: chunk.NewFingerprinter(p.key)}
	if p.mode != CompressOff {
		h.pack = chunk.NewCompressor()
	}
	return h
}

// work fills in what the committer needs of each piece. A chunk is compressed
// if it is new to the logbook: the table only grows, so what the committer finds
// to be new was new here too.
func (h *hasher) work(w *work) {
	table := h.p.table
	if table == nil {
		return
	}
	for j := range w.parts.all {
		part := &w.parts.all[j]
		old := part.it.read.oldSize
		off := part.off
		for i := part.from; i < part.to; i++ {
			piece := &w.pieces.all[i]
			if piece.Zeros > 0 {
				off += piece.Zeros
				continue
			}
			data := w.buf[piece.Off : piece.Off+piece.Len]
			piece.Print = h.print.Print(data)
			piece.Packed = chunk.NotMeasured
			if h.pack != nil && (h.p.mode == CompressAll || chunk.Sampled(piece.Print, piece.Len)) {
				if _, known := table.Lookup(piece.Print); !known {
					piece.Packed = h.pack.Packed(data)
				}
			}
			end := off + int64(piece.Len)
			if off < old && old < end {
				part.tail, part.tailSet = h.print.Print(data[:old-off]), true
			}
			off = end
		}
	}
}
