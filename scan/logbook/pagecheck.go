package logbook

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

// The Parquet library believes what lengths footers and page headers claim. The
// file's hash proves that they are as they were written; these checks hold for a
// file that someone wrote on purpose: only this package's decoders, nothing outside
// the file, and no page that unpacks into far more than it has.

const (
	headerBytes = 512     // a page's header is a tenth of it
	flatValues  = 1 << 17 // values in a page of a column without lists, at most a row group's
	looseBytes  = 1 << 20 // a page may unpack into this much …
	looseRatio  = 1 << 10 // … and so many times its bytes more
)

// checkTrailer looks at the last bytes, which say how long the footer is.
func checkTrailer(f readFile) error {
	var b [8]byte
	if f.Size() < 12 {
		return errors.New("it is too short")
	}
	if n, err := f.ReadAt(b[:], f.Size()-8); n < len(b) {
		return err
	}
	if n := int64(binary.LittleEndian.Uint32(b[:4])); string(b[4:]) != "PAR1" || n > f.Size()-12 {
		return errors.New("it does not end as it should")
	}
	return nil
}

// checkFooter holds the footer to what this package writes.
func checkFooter(m *format.FileMetaData, schema *parquet.Schema, size int64) error {
	leaves := schema.Columns()
	for _, group := range m.RowGroups {
		if len(group.Columns) != len(leaves) {
			return fmt.Errorf("a row group has %d columns instead of %d", len(group.Columns), len(leaves))
		}
		for i := range group.Columns {
			c := &group.Columns[i].MetaData
			leaf, ok := schema.Lookup(leaves[i]...)
			if !ok {
				return fmt.Errorf("column %d is not in the schema", i+1)
			}
			want := format.Zstd
			if c := leaf.Node.Compression(); c != nil {
				want = c.CompressionCodec()
			}
			switch {
			case c.Codec != want:
				return fmt.Errorf("column %d is compressed by %v instead of %v", i+1, c.Codec, want)
			case group.NumRows < 0 || c.NumValues < group.NumRows || leaf.MaxRepetitionLevel == 0 && c.NumValues != group.NumRows:
				return fmt.Errorf("column %d has %d values in %d rows", i+1, c.NumValues, group.NumRows)
			case c.DictionaryPageOffset < 0 || c.DictionaryPageOffset > c.DataPageOffset || c.DataPageOffset > size ||
				c.TotalCompressedSize < 0 || c.TotalCompressedSize > size-firstPage(c):
				return fmt.Errorf("column %d lies outside the file", i+1)
			}
		}
	}
	return nil
}

func firstPage(c *format.ColumnMetaData) int64 {
	if c.DictionaryPageOffset > 0 {
		return c.DictionaryPageOffset
	}
	return c.DataPageOffset
}

// checkPages walks the page headers of a file whose footer was checked. values
// bounds those of a list column: rows and runs together.
func checkPages(f readFile, m *format.FileMetaData, schema *parquet.Schema, values int64) error {
	var window [headerBytes]byte
	leaves := schema.Columns()
	for _, group := range m.RowGroups {
		for i := range group.Columns {
			c := &group.Columns[i].MetaData
			most := int64(flatValues)
			if leaf, _ := schema.Lookup(leaves[i]...); leaf.MaxRepetitionLevel > 0 {
				most = values
			}
			at := firstPage(c)
			end := at + c.TotalCompressedSize
			sum := int64(0)
			for at < end {
				b := window[:min(headerBytes, end-at)]
				if n, err := f.ReadAt(b, at); n < len(b) {
					return err
				}
				n, header, data, err := checkPage(b, end-at, most)
				if err != nil {
					return fmt.Errorf("column %d: %w", i+1, err)
				}
				sum += n
				at += header + data
			}
			if sum != c.NumValues {
				return fmt.Errorf("column %d: its pages have %d values, the footer says %d", i+1, sum, c.NumValues)
			}
		}
	}
	return nil
}

// checkPage decodes one page's header from b. It returns the number of values
// of a data page, and the lengths of header and page.
func checkPage(b []byte, left, most int64) (values, header, data int64, err error) {
	var protocol thrift.CompactProtocol
	var h format.PageHeader
	r := protocol.NewReaderFromBytes(b)
	if err := thrift.NewDecoder(r).Decode(&h); err != nil {
		return 0, 0, 0, fmt.Errorf("page header: %w", err)
	}
	header, data = int64(r.BytesRead()), int64(h.CompressedPageSize)
	var count int64
	var encoding format.Encoding
	levels := int64(0)
	switch {
	case h.Type == format.DataPageV2 && h.DataPageHeaderV2.Valid:
		v2 := &h.DataPageHeaderV2.V
		count, encoding = int64(v2.NumValues), v2.Encoding
		values = count
		rep, def := int64(v2.RepetitionLevelsByteLength), int64(v2.DefinitionLevelsByteLength)
		if rep < 0 || def < 0 || v2.NumNulls < 0 || int64(v2.NumNulls) > count || v2.NumRows < 0 || int64(v2.NumRows) > count {
			return 0, 0, 0, errors.New("page header: impossible counts")
		}
		levels = rep + def
	case h.Type == format.DictionaryPage && h.DictionaryPageHeader.Valid:
		count, encoding = int64(h.DictionaryPageHeader.V.NumValues), h.DictionaryPageHeader.V.Encoding
	default:
		return 0, 0, 0, fmt.Errorf("page header: type %v", h.Type)
	}
	switch encoding {
	case format.Plain, format.RLE, format.RLEDictionary, format.DeltaBinaryPacked, format.DeltaByteArray:
	default:
		return 0, 0, 0, fmt.Errorf("page header: encoding %v", encoding)
	}
	if size := int64(h.UncompressedPageSize); data < 0 || data > left-header || levels > data || count < 0 || count > most ||
		size < 0 || size > looseBytes+looseRatio*data {
		return 0, 0, 0, fmt.Errorf("page header: %d values in %d bytes, %d unpacked, %d left in the column", count, data, size, left-header)
	}
	return values, header, data, nil
}
