package logbook

// entrySink writes rows of entries. What it is given is copied.
type entrySink struct {
	*sink[fileRow]
	// What batched rows refer to.
	paths    []byte
	runs     []Run
	contents [sinkBatch][16]byte
}

func newEntrySink(fsys fileSystem, name string) (*entrySink, error) {
	s, err := newSink[fileRow](fsys, name, fileSchema, filePageBytes, fileGroupRows)
	if err != nil {
		return nil, err
	}
	return &entrySink{sink: s}, nil
}

// entryRow is e's row but for path, contents and recipe.
func entryRow(e *Entry, snapshot int, s state) fileRow {
	return fileRow{
		Snapshot: int32(snapshot), Label: e.Label,
		State: stateNames[s], Kind: kindNames[e.Kind], How: howNames[e.How],
		Size: e.Size, Allocated: e.Allocated, MtimeNs: e.MtimeNs, CtimeNs: e.CtimeNs,
		Inode: e.Inode, Links: e.Links,
		Hardlink: e.Hardlink, FirstSeen: e.FirstSeen, NeverRead: e.NeverRead, Appended: e.Appended,
		ZeroBytes: e.Zeros, Chain: e.Chain,
	}
}

// maxBatchRuns is how many runs a batch gathers at most, one row aside.
const maxBatchRuns = 1 << 12

func (s *entrySink) put(row fileRow, path []byte, contents Contents, runs []Run) error {
	if contents != (Contents{}) {
		at := &s.contents[len(s.batch)]
		*at = contents
		row.Contents = at
	}
	n := len(s.paths)
	s.paths = append(s.paths, path...)
	row.Path = s.paths[n:len(s.paths):len(s.paths)]
	large := len(runs) > maxBatchRuns
	if large {
		row.Recipe = runs // written before put returns: a copy would be as large again
	} else {
		n = len(s.runs)
		s.runs = append(s.runs, runs...)
		row.Recipe = s.runs[n:len(s.runs):len(s.runs)]
	}
	// The sum of weights in a row group is bounded: by rows, and by runs.
	weight := 1 + int64(len(runs))*fileGroupRows/fileGroupRuns
	if !s.add(row, weight) && !large && len(s.runs) < maxBatchRuns {
		return nil
	}
	err := s.flush()
	s.paths = s.paths[:0]
	s.runs = s.runs[:0]
	return err
}
