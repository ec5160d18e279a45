package logbook

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"github.com/parquet-go/parquet-go"
)

// parquetFile is an open Parquet file of the logbook.
type parquetFile struct {
	name   string // for errors
	file   readFile
	groups []parquet.RowGroup
	rows   int64
}

func (p *parquetFile) close() { p.file.Close() }

// column reads one leaf column forward, a page at a time. Nothing is read
// before the first row is asked for, and rows that nobody asks for are skipped
// by whole pages where they are many.
type column struct {
	of   *parquetFile
	leaf int

	group      int   // row group of pages, −1 before the first
	groupFirst int64 // its first row
	groupNext  int64 // the row after its last
	pages      parquet.Pages
	page       parquet.Page

	first, next int64 // rows of the page
	values      int   // in the page, nulls included

	i32     []int32
	i64     []int64
	prints  [][16]byte
	bits    []byte
	bytes   []byte
	offsets []uint32
	dict    parquet.Dictionary
	rep     []byte
	def     []byte

	seen int // optional columns: values counted so far …
	row  int // … up to this row of the page
}

// skipPages is the distance, in rows, from which on looking up the page's place pays.
const skipPages = 4096

func newColumn(of *parquetFile, leaf int) *column { return &column{of: of, leaf: leaf, group: -1} }

// columnError is a failure to read a column.
type columnError struct {
	of   *parquetFile
	leaf int
	why  error // the system's error, or what is damaged, wrapped by ErrDamaged
}

func (e *columnError) Error() string {
	if errors.Is(e.why, ErrDamaged) {
		return fmt.Sprintf("%v (%s, column %d)", e.why, e.of.name, e.leaf+1)
	}
	return fmt.Sprintf("reading the logbook: %v", e.why)
}

func (e *columnError) Unwrap() error { return e.why }

func (c *column) damaged(why any) error {
	if err, ok := why.(error); ok {
		if system := (*fs.PathError)(nil); errors.As(err, &system) {
			return &columnError{c.of, c.leaf, system}
		}
	}
	return &columnError{c.of, c.leaf, fmt.Errorf("%w: %v", ErrDamaged, why)}
}

// at makes the page of row the current one and returns the row's index in it.
func (c *column) at(row int64) (int, error) {
	if row < c.next {
		return int(row - c.first), nil
	}
	return c.advance(row)
}

func (c *column) advance(row int64) (int, error) {
	for row >= c.next {
		if err := c.load(row); err != nil {
			return 0, err
		}
	}
	return int(row - c.first), nil
}

func (c *column) release() {
	if c.page != nil {
		parquet.Release(c.page)
		c.page = nil
	}
}

// drop forgets the current page. Only rows after it may be asked for.
func (c *column) drop() {
	c.release()
	c.values = 0
	c.i32, c.i64, c.prints, c.bits, c.bytes, c.offsets, c.dict = nil, nil, nil, nil, nil, nil, nil
	c.rep, c.def = nil, nil
}

func (c *column) close() {
	c.release()
	if c.pages != nil {
		c.pages.Close()
		c.pages = nil
	}
}

// load reads the next page, or one further on that is not beyond row.
func (c *column) load(row int64) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = c.damaged(r)
		}
	}()
	c.release()
	for c.group < 0 || c.next >= c.groupNext {
		if c.group+1 >= len(c.of.groups) {
			return c.damaged("it ends too early")
		}
		if c.pages != nil {
			c.pages.Close()
			c.pages = nil
		}
		c.group++
		c.groupFirst = c.groupNext
		c.groupNext += c.of.groups[c.group].NumRows()
		c.next = c.groupFirst
		if row >= c.groupNext {
			c.next = c.groupNext
		}
	}
	chunk := c.of.groups[c.group].ColumnChunks()[c.leaf]
	if c.pages == nil {
		c.pages = chunk.Pages()
	}
	if row-c.next > skipPages {
		if err := c.skip(chunk, row); err != nil {
			return c.damaged(err)
		}
	}
	page, err := c.pages.ReadPage()
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = errors.New("it ends too early")
		}
		return c.damaged(err)
	}
	c.page = page
	rows := page.NumRows()
	if rows <= 0 || rows > c.groupNext-c.next {
		return c.damaged("a page has an impossible number of rows")
	}
	c.first, c.next = c.next, c.next+rows
	return c.unpack()
}

// skip goes to the beginning of the page that holds row.
func (c *column) skip(chunk parquet.ColumnChunk, row int64) error {
	index, err := chunk.OffsetIndex()
	if err != nil || index == nil {
		return err
	}
	lo, hi := 0, index.NumPages() // the page is in [lo, hi)
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		if index.FirstRowIndex(mid) <= row-c.groupFirst {
			lo = mid
		} else {
			hi = mid
		}
	}
	if lo >= index.NumPages() {
		return errors.New("its page index is empty")
	}
	first := index.FirstRowIndex(lo)
	if first < 0 || first+c.groupFirst < c.next || first+c.groupFirst > row {
		return errors.New("its page index runs backwards")
	}
	if err := c.pages.SeekToRow(first); err != nil {
		return err
	}
	c.next = c.groupFirst + first
	return nil
}

// unpack takes the page's values apart and checks that there are as many as the rows need.
func (c *column) unpack() error {
	c.values = int(c.page.NumValues())
	c.rep, c.def = c.page.RepetitionLevels(), c.page.DefinitionLevels()
	c.seen, c.row = 0, 0
	nulls := 0
	if len(c.def) > 0 {
		if len(c.def) != c.values {
			return c.damaged("levels and values differ in number")
		}
		full := byte(1)
		if len(c.rep) > 0 {
			full = fullDefinition
		}
		for _, d := range c.def {
			if d != full {
				nulls++
			}
		}
	}
	if len(c.rep) > 0 && len(c.rep) != c.values || len(c.rep) == 0 && int64(c.values) != c.next-c.first {
		return c.damaged("rows and values differ in number")
	}

	c.i32, c.i64, c.prints, c.bits, c.bytes, c.offsets, c.dict = nil, nil, nil, nil, nil, nil, nil
	data := c.page.Data()
	need, have := c.values-nulls, 0
	if c.dict = c.page.Dictionary(); c.dict != nil {
		c.i32 = data.Int32()
		have = len(c.i32)
		for _, v := range c.i32 {
			if v < 0 || int(v) >= c.dict.Len() {
				return c.damaged("a value is not in the dictionary")
			}
		}
	} else {
		switch kind := c.page.Type().Kind(); kind {
		case parquet.Int32:
			c.i32 = data.Int32()
			have = len(c.i32)
		case parquet.Int64:
			c.i64 = data.Int64()
			have = len(c.i64)
		case parquet.FixedLenByteArray:
			c.prints = data.Uint128()
			have = len(c.prints)
		case parquet.Boolean:
			c.bits = data.Boolean()
			have = 8 * len(c.bits)
		case parquet.ByteArray:
			c.bytes, c.offsets = data.ByteArray()
			have = len(c.offsets) - 1
			for i := 1; i < len(c.offsets); i++ {
				if c.offsets[i] < c.offsets[i-1] || int64(c.offsets[i]) > int64(len(c.bytes)) {
					return c.damaged("its values overlap")
				}
			}
		default:
			return c.damaged(fmt.Sprintf("type %v", kind))
		}
	}
	if have < need {
		return c.damaged("values are missing")
	}
	return nil
}

// fullDefinition is the definition level of a run's field in the recipe column:
// the list and its element are there.
const fullDefinition = 1

// value returns the index of row i's value among the page's values that are
// not null, and whether it is there. Rows must be asked for in order.
func (c *column) value(i int) (int, bool) {
	if len(c.def) == 0 {
		return i, true
	}
	for ; c.row < i; c.row++ {
		c.seen += int(c.def[c.row])
	}
	return c.seen, c.def[i] != 0
}

func (c *column) int64(row int64) (int64, error) {
	i, err := c.at(row)
	if err != nil {
		return 0, err
	}
	return c.i64[i], nil
}

func (c *column) int32(row int64) (int32, error) {
	i, err := c.at(row)
	if err != nil {
		return 0, err
	}
	return c.i32[i], nil
}

func (c *column) bool(row int64) (bool, error) {
	i, err := c.at(row)
	if err != nil {
		return false, err
	}
	return c.bits[i>>3]>>(i&7)&1 != 0, nil
}

// blob returns the value's bytes, valid until the next page.
func (c *column) blob(row int64) ([]byte, error) {
	i, err := c.at(row)
	if err != nil {
		return nil, err
	}
	return c.bytes[c.offsets[i]:c.offsets[i+1]:c.offsets[i+1]], nil
}
