package measure

import (
	"context"
	"math"
	"slices"

	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// unitIndex numbers, from 0 in the order in which they are met, the units of a
// store that does not keep the logbook's own chunks. What a file brings along is
// numbered in one go, so that its units are runs of ids, as its chunks are.
//
// Two different units count as one if 64 bits of their hashes agree.
type unitIndex struct {
	facts     *chunkFacts
	view      *unitView
	encrypted bool // each state of each file is one unit, and no other's
	separate  bool
	known     []indexedUnit
	ids       map[uint64]int64 // hash → id

	// Encrypted: the state met last, so that a new time alone makes no new unit.
	label    string
	path     []byte
	contents logbook.Contents
	run      []idRun
	refs     int64
}

type indexedUnit struct {
	bytes  int64
	packed int64 // by light compression; −1: not measured
	units  int32 // of the store: more than one where this stands for a whole encrypted file
}

// pack adds the unit to a sum.
func (u *indexedUnit) pack(p *packing) {
	if u.packed < 0 {
		p.off += u.bytes
		return
	}
	p.measuredBytes += u.bytes
	p.measuredPacked += u.packed
}

func newUnitIndex(ctx context.Context, b *logbook.Book, snapshot int, p *engine.Profile) (*unitIndex, error) {
	facts, err := loadFacts(ctx, b, snapshot, nil)
	if err != nil {
		return nil, err
	}
	k, _ := doublings(b, p)
	return &unitIndex{
		facts:     facts,
		view:      &unitView{whole: p.Unit == engine.WholeFile, law: newCoarseLaw(b.Params(), k)},
		encrypted: p.EncryptBeforeChunking,
		separate:  p.SeparateDevices,
		ids:       map[uint64]int64{},
	}, nil
}

// units returns the units of a file, as ascending runs of ids that neither
// overlap nor adjoin, and the number of its references. Its chunk ids must have
// been checked.
func (x *unitIndex) units(e *logbook.Entry) (set []idRun, refs int64) {
	if x.encrypted {
		return x.sealed(e)
	}
	salt := uint64(0)
	if x.separate {
		for i := range len(e.Label) {
			salt = mix(salt, uint64(e.Label[i])+1)
		}
	}
	var runs []idRun
	refs = x.view.each(x.facts, e, func(u *unit) {
		hash := u.hash
		if x.separate {
			hash = mix(hash, salt)
		}
		id, there := x.ids[hash]
		if !there {
			id = int64(len(x.known))
			x.ids[hash] = id
			packed := int64(-1)
			if u.unknown == 0 {
				packed = u.packed - contextSaving(u)
			}
			x.known = append(x.known, indexedUnit{u.bytes, packed, 1})
		}
		if n := len(runs); n > 0 && runs[n-1].first+runs[n-1].n == id {
			runs[n-1].n++
			return
		}
		runs = append(runs, idRun{id, 1})
	})
	return union(runs), refs
}

// sealed is units where what is stored looks like noise, zeros too.
func (x *unitIndex) sealed(e *logbook.Entry) (set []idRun, refs int64) {
	if e.Hardlink || e.Size == 0 {
		return nil, 0
	}
	if x.run != nil && x.label == e.Label && string(x.path) == string(e.Path) && x.contents == e.Contents {
		return slices.Clone(x.run), x.refs // the caller may use it up
	}
	refs = x.view.each(x.facts, e, func(*unit) {})
	if !x.view.whole {
		refs += int64(math.Ceil(float64(e.Zeros) / x.view.law.params.MeanSize()))
	}
	x.label, x.path, x.contents = e.Label, append(x.path[:0], e.Path...), e.Contents
	x.run, x.refs = []idRun{{int64(len(x.known)), 1}}, refs
	x.known = append(x.known, indexedUnit{e.Size, e.Size, int32(min(refs, math.MaxInt32))})
	return slices.Clone(x.run), refs
}
