package measure

import "context"

// nightUnits adds up, view by view, what earlier nights of a range brought.
type nightUnits struct {
	fresh, back     []unitSums
	freshReferences []int64
	changedFiles    int64
	changedBytes    int64
	certainBytes    int64
	newIDs, backIDs []idBits
}

func (s *unitSums) merge(o *unitSums) {
	s.units += o.units
	s.bytes += o.bytes
	s.packed += o.packed
	s.context += o.context
	s.unknown += o.unknown
	s.parts += o.parts
	s.sized += o.sized
	s.large += o.large
	s.mixed += o.mixed
}

// add takes over the night of a walk.
func (n *nightUnits) add(w *unitWalk) {
	if n.fresh == nil {
		n.fresh, n.back = make([]unitSums, len(w.views)), make([]unitSums, len(w.views))
		n.freshReferences = make([]int64, len(w.views))
	}
	for i, v := range w.views {
		n.fresh[i].merge(&v.fresh)
		n.back[i].merge(&v.back)
		n.freshReferences[i] += v.freshReferences
	}
	n.changedFiles += w.changedFiles
	n.changedBytes += w.changedBytes
	n.certainBytes += w.certainBytes
	n.newIDs, n.backIDs = append(n.newIDs, w.newIDs), append(n.backIDs, w.backIDs)
}

// with adds earlier nights to those of a walk with the same views, and then
// reads what is known of how their chunks compress.
func (w *unitWalk) with(ctx context.Context, n *nightUnits) error {
	for i := range n.fresh {
		v := w.views[i]
		v.fresh.merge(&n.fresh[i])
		v.back.merge(&n.back[i])
		v.freshReferences += n.freshReferences[i]
	}
	w.changedFiles += n.changedFiles
	w.changedBytes += n.changedBytes
	w.certainBytes += n.certainBytes
	for i := range n.newIDs {
		w.newIDs.join(n.newIDs[i])
		w.backIDs.join(n.backIDs[i])
	}
	exact, err := loadExact(ctx, w.book, w.snapshot)
	if err != nil {
		return err
	}
	w.newPack, w.backPack = packing{exact: exact}, packing{exact: exact}
	if err := eachRow(ctx, w.book, w.newIDs.runs(), w.newPack.add); err != nil {
		return err
	}
	return eachRow(ctx, w.book, w.backIDs.runs(), w.backPack.add)
}
