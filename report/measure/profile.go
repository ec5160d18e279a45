package measure

import (
	"context"

	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// ExplainFor is ExplainSnapshot as the store of Options.Profile has it: its
// units, its compression, its overhead. The notes name what that rests on beside
// measurement; both are ExplainSnapshot's own where there is no profile. In units
// other than the logbook's the rows have no ExclusiveBytes: −1.
func ExplainFor(ctx context.Context, b *logbook.Book, snapshot int, o Options) (*Explain, []ProfileNote, error) {
	if o.Profile == nil {
		e, err := ExplainSnapshot(ctx, b, snapshot, o)
		return e, []ProfileNote{}, err
	}
	if !otherUnits(b, o.Profile) {
		e, err := ExplainSnapshot(ctx, b, snapshot, o)
		if err != nil {
			return nil, nil, err
		}
		return repack(e, o.Profile), Notes(b, o.Profile), nil
	}
	r, err := ForProfile(ctx, b, snapshot, o.Profile, o)
	if err != nil {
		return nil, nil, err
	}
	return r.Explain, r.Assumed, nil
}

// ChangeFor is ChangeBetween as the store of Options.Profile has it. What is new
// stays what was never seen before, in the logbook's chunks, with its causes and
// splits; EngineNewBytes is what the store would take for new, and compressed
// bytes, overhead and upload are the store's.
func ChangeFor(ctx context.Context, b *logbook.Book, from, to int, o Options) (*Change, []ProfileNote, error) {
	c, err := ChangeBetween(ctx, b, from, to, o)
	if err != nil || o.Profile == nil {
		return c, []ProfileNote{}, err
	}
	p := o.Profile
	c.EngineNewBytes = c.NewBytes
	if !otherUnits(b, p) {
		packed := c.NewCompressedBytes
		c.NewCompressedBytes, c.NewCompressedLowBytes, c.NewCompressedHighBytes = packedAs(p,
			packed, c.NewCompressedLowBytes, c.NewCompressedHighBytes, c.NewBytes)
		if c.NewCompressedBytes != packed {
			c.spread(func(row *ChangeSplit) int64 {
				n, _, _ := packedAs(p, row.NewPacked, row.NewPacked, row.NewPacked, row.NewBytes)
				return n
			})
		}
		return deriveChange(c, o), Notes(b, p), nil
	}
	r, err := ForProfilesBetween(ctx, b, c.From, c.To, []*engine.Profile{p}, o)
	if err != nil {
		return nil, nil, err
	}
	c.EngineNewBytes = r[0].NewBytes
	c.NewCompressedBytes, c.NewCompressedLowBytes, c.NewCompressedHighBytes = r[0].NewCompressedBytes, r[0].NewCompressedLowBytes, r[0].NewCompressedHighBytes
	c.OverheadBytes, c.UploadBytes = r[0].NewOverheadBytes, r[0].UploadBytes
	c.spread(func(row *ChangeSplit) int64 {
		// What the store sends beside the new parts lies around them: it is laid
		// to whom the new parts belong, by size where nothing was compressed.
		if p.EncryptBeforeChunking {
			return row.ChangedBytes
		}
		n, _, _ := packedAs(p, row.NewPacked, row.NewPacked, row.NewPacked, row.NewBytes)
		return n
	})
	return c, r[0].Assumed, nil
}

// spread divides the compressed bytes among the rows by weight.
func (c *Change) spread(weight func(*ChangeSplit) int64) {
	for _, rows := range [][]ChangeSplit{c.ByFolder, c.ByType} {
		weights := make([]int64, len(rows))
		var sum int64
		for i := range rows {
			weights[i] = weight(&rows[i])
			sum += max(weights[i], 0)
		}
		if sum == 0 { // nothing new to go by: what was changed
			for i := range rows {
				weights[i] = rows[i].ChangedBytes
			}
		}
		divide(c.NewCompressedBytes, weights, func(i int, n int64) { rows[i].NewPacked = n })
	}
}
