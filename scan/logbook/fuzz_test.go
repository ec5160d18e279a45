package logbook

import (
	"context"
	"errors"
	"testing"
)

// Summaries, sealed as they should be but with anything in them: an error or a
// Book, never a panic.
func FuzzSummaries(f *testing.F) {
	base := tinyBook(f, 2)
	names := []string{metaName, headName, "000001/" + summaryName, "000002/" + summaryName}
	for i, name := range names {
		data := base.node(memDir + "/" + name).data
		if i != 1 {
			data = data[:len(data)-len(sealEnd)-hashHex]
		}
		f.Add(uint8(i), data)
	}
	f.Add(uint8(2), []byte(`{"format":1,"number":1,"first_chunk":1,"chunks":9223372036854775807`+sealName))
	f.Add(uint8(2), []byte(`{"format":1,"number":1,"taken":"2031-05-02T01:00:00Z","stopped_at":"!","first_chunk":1,"stored":{"files":{"rows":-1}}`+sealName))
	f.Fuzz(func(t *testing.T, which uint8, data []byte) {
		fsys := base.clone()
		name := names[int(which)%len(names)]
		if name != headName {
			data = append(data[:len(data):len(data)], hexSum(data, []byte(sealEnd))+sealEnd...)
		}
		fsys.set(t, memDir+"/"+name, data)
		b, err := open(fsys, memDir)
		if err == nil {
			for range b.Listing(context.Background(), max(1, len(b.Segments())), true) {
			}
		} else if !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrNewer) {
			t.Errorf("%s: %v", name, err)
		}
		if _, _, err := audit(context.Background(), fsys, memDir); err != nil && !errors.Is(err, ErrNewer) {
			t.Errorf("%s: audit: %v", name, err)
		}
	})
}

// FuzzParquet puts anything in the place of a Parquet file, with the hash to it,
// as nobody but the logbook's owner can: an error that says what is damaged, or
// rows, never a panic.
func FuzzParquet(f *testing.F) {
	was := listingFloor
	listingFloor = 0
	base := tinyBook(f, 3)
	listingFloor = was
	names := []string{filesName, chunksName, listingName}
	for i, name := range names {
		data := base.node(memDir + "/000003/" + name).data
		f.Add(uint8(i), data, uint16(0), byte(0))
		for at := 0; at < len(data); at += 61 {
			f.Add(uint8(i), data, uint16(at), byte(1<<(at%8)))
		}
		f.Add(uint8(i), data[:len(data)/2], uint16(0), byte(0))
	}
	f.Fuzz(func(t *testing.T, which uint8, data []byte, at uint16, flip byte) {
		fsys := base.clone()
		data = append([]byte(nil), data...)
		if len(data) > 0 {
			data[int(at)%len(data)] ^= flip
		}
		name := names[int(which)%len(names)]
		fsys.set(t, memDir+"/000003/"+name, data)
		a, err := startAudit(context.Background(), fsys, memDir)
		if err != nil || len(a.found) > 0 {
			t.Fatal(a.found, err)
		}
		s := &a.book.refs[2].doc.Stored
		for _, file := range []struct {
			name string
			at   *storedFile
		}{{filesName, &s.Files}, {chunksName, &s.Chunks}, {listingName, s.Listing}} {
			if file.name == name {
				file.at.Bytes, file.at.Blake3 = int64(len(data)), hexSum(data)
			}
		}
		for _, step := range []func() error{a.prove, a.chunks, a.rows} {
			if err := step(); err != nil {
				t.Fatal(err)
			}
		}
		if len(a.found) > 0 {
			for _, d := range a.found {
				if d.Segment != 3 {
					t.Errorf("found elsewhere: %v", d)
				}
			}
		}
		for _, o := range []HistoryOptions{{3, 3, true, false}, {1, 3, false, true}} {
			for _, err := range a.book.Histories(context.Background(), o) {
				if err != nil && !errors.Is(err, ErrDamaged) {
					t.Error(err)
				}
			}
		}
		for _, err := range a.book.ChunkRows(context.Background(), 1, 3) {
			if err != nil && !errors.Is(err, ErrDamaged) {
				t.Error(err)
			}
		}
	})
}
