package measure

// nightUnits adds up, view by view, what earlier nights of a range brought.
type nightUnits struct {
	fresh, back     []unitSums
	freshReferences []int64
	changedFiles    int64
	changedBytes    int64
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
}

// with adds earlier nights to those of a walk with the same views.
func (w *unitWalk) with(n *nightUnits) {
	for i := range n.fresh {
		v := w.views[i]
		v.fresh.merge(&n.fresh[i])
		v.back.merge(&n.back[i])
		v.freshReferences += n.freshReferences[i]
	}
	w.changedFiles += n.changedFiles
	w.changedBytes += n.changedBytes
}
