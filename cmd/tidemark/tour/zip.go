package tour

import (
	"encoding/binary"
	"hash/crc32"
)

// member is one file inside a letter.
type member struct {
	name    string
	plain   []byte
	deflate bool   // otherwise stored, as pictures are
	mint    mintID // what the packed bytes are in the books; 0: a new mint
}

// zipped lays the members out as a zip file (its layout: PKWARE's APPNOTE,
// sections 4.3.7, 4.3.12, 4.3.16) and returns its bytes and its spans. All
// times in it are zero: only the contents tell versions apart.
func (b *books) zipped(members []member) ([]byte, []span) {
	le := binary.LittleEndian
	var out, directory []byte
	var spans []span
	for _, m := range members {
		packed, method := m.plain, uint16(0)
		if m.deflate {
			packed, method = deflate(nil, m.plain), 8
		}
		// Both headers share the fields from "version needed" to "extra length".
		var shared []byte
		for _, v := range []uint16{20, 0, method, 0, 0x21} {
			shared = le.AppendUint16(shared, v)
		}
		for _, v := range []uint32{crc32.ChecksumIEEE(m.plain), uint32(len(packed)), uint32(len(m.plain))} {
			shared = le.AppendUint32(shared, v)
		}
		shared = le.AppendUint16(shared, uint16(len(m.name)))
		shared = le.AppendUint16(shared, 0)

		directory = append(directory, 'P', 'K', 1, 2, 20, 0)
		directory = append(directory, shared...)
		directory = append(directory, make([]byte, 10)...) // comment, disk, attributes
		directory = le.AppendUint32(directory, uint32(len(out)))
		directory = append(directory, m.name...)

		at := len(out)
		out = append(out, 'P', 'K', 3, 4)
		out = append(out, shared...)
		out = append(out, m.name...)
		spans = append(spans, b.mint(frame, 0, int64(len(out)-at)))
		out = append(out, packed...)
		if m.mint == 0 {
			spans = append(spans, b.mint(raw, 0, int64(len(packed))))
		} else {
			spans = append(spans, b.whole(m.mint))
		}
	}
	at := len(out)
	out = append(out, directory...)
	out = append(out, 'P', 'K', 5, 6, 0, 0, 0, 0)
	out = le.AppendUint16(out, uint16(len(members)))
	out = le.AppendUint16(out, uint16(len(members)))
	out = le.AppendUint32(out, uint32(len(directory)))
	out = le.AppendUint32(out, uint32(at))
	out = le.AppendUint16(out, 0)
	return out, append(spans, b.mint(frame, 0, int64(len(out)-at)))
}
