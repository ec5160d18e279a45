package scan

import (
	"sync"

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
// asking the reader that took it. Each reader has works of its own: those who
// are ahead wait for room, and the one that is reading the committer's file
// never does, for what it handed on before was committed before.

// work is a batch on its way.
type work struct {
	batch *chunk.Batch
	parts []part
	home  chan *work    // the reader's
	ready chan struct{} // one value when it is fingerprinted
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

// clear makes w ready to be filled again.
func (w *work) clear() {
	w.batch.Reset()
	clear(w.parts)
	w.parts = w.parts[:0]
}

// Look-ahead in works and items.
const (
	worksMost = 8 // of all readers together; a reader has from 2 to 4
	itemAhead = 512
)

// worksEach is how many works each of several readers has: one is filled while
// others are hashed, and more than a few only cost memory.
func worksEach(readers int, params chunk.Params) int {
	if params.Max > 4<<20 {
		return 2 // batches hold two chunks of the greatest length
	}
	return max(2, min(worksMost/readers, 4))
}

type pipeline struct {
	s       *scanner
	params  chunk.Params
	key     chunk.Key
	mode    CompressMode
	jobs    chan *item
	hash    chan *work
	readers []*reader
	hashers int
	table   *logbook.Table // set before tableReady is closed; nil: the scan ends
	tableUp chan struct{}
	closed  sync.Once
	running sync.WaitGroup // readers
	hashing sync.WaitGroup
}

// newPipeline starts the readers and the hashers. They end once jobs is closed
// and all they hold was taken.
func newPipeline(s *scanner, key chunk.Key, params chunk.Params, mode CompressMode, n workers) (*pipeline, error) {
	works := worksEach(n.readers, params)
	p := &pipeline{
		s: s, key: key, params: params, mode: mode,
		jobs:    make(chan *item, itemAhead),
		hash:    make(chan *work, works*n.readers),
		tableUp: make(chan struct{}),
		hashers: n.hashers,
	}
	for range n.readers {
		cut, err := chunk.NewSplitter(params)
		if err != nil {
			return nil, err
		}
		r := &reader{p: p, cut: cut, most: 1, free: make(chan *work, works), out: make(chan *work, works)}
		r.src.p = p
		if n.rotating && s.o.Rate == 0 { // what the system reads ahead is not counted
			r.most = sweepFiles
		}
		for range works {
			r.free <- &work{home: r.free, ready: make(chan struct{}, 1)}
		}
		p.readers = append(p.readers, r)
	}
	for _, r := range p.readers {
		p.running.Add(1)
		go r.run()
	}
	for range n.hashers {
		p.hashing.Add(1)
		go func() {
			defer p.hashing.Done()
			h := p.newHasher()
			<-p.tableUp
			for w := range p.hash {
				h.work(w)
				w.ready <- struct{}{}
			}
		}()
	}
	return p, nil
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
	for j := range w.parts {
		part := &w.parts[j]
		old := part.it.read.oldSize
		off := part.off
		for i := part.from; i < part.to; i++ {
			piece := &w.batch.Pieces[i]
			if piece.Zeros > 0 {
				off += piece.Zeros
				continue
			}
			data := w.batch.Buf[piece.Off : piece.Off+piece.Len]
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
