package logbook

import (
	"fmt"
	"slices"

	"github.com/parquet-go/parquet-go"
)

// enumColumn reads a dictionary column whose values are a few known texts, or
// (names nil) any texts that repeat.
type enumColumn struct {
	*column
	names  []string
	dict   parquet.Dictionary
	codes  []int    // by dictionary index; −1: not looked up yet
	values []string // by dictionary index, where names is nil
}

func (c *enumColumn) lookup(row int64) (int, error) {
	i, err := c.at(row)
	if err != nil {
		return 0, err
	}
	if c.column.dict == nil {
		return 0, c.damaged("it has no dictionary")
	}
	if c.dict != c.column.dict {
		c.dict = c.column.dict
		n := c.dict.Len()
		c.codes, c.values = make([]int, n), make([]string, n)
		for j := range n {
			text := string(c.dict.Index(int32(j)).ByteArray())
			c.values[j] = text
			c.codes[j] = slices.Index(c.names, text)
		}
	}
	return int(c.i32[i]), nil
}

func (c *enumColumn) code(row int64) (int, error) {
	j, err := c.lookup(row)
	if err != nil {
		return 0, err
	}
	if c.codes[j] < 0 {
		return 0, c.damaged(fmt.Sprintf("value %q is not known", c.values[j]))
	}
	return c.codes[j], nil
}

func (c *enumColumn) text(row int64) (string, error) {
	j, err := c.lookup(row)
	if err != nil {
		return "", err
	}
	return c.values[j], nil
}

// rowReader reads a files.parquet or listing.parquet in order. Columns are read
// only as far as they are asked for.
type rowReader struct {
	of       *parquetFile
	order    int // place in the merge: later ones are newer
	snapshot int // the segment the file is in

	row   int64 // current, −1 before the first
	label string
	path  []byte // of the current row, valid until the next

	columns   [fileColumns]*column
	labels    enumColumn
	states    enumColumn
	kinds     enumColumn
	hows      enumColumn
	path0     *column
	runStarts [4]runCursor
}

func newRowReader(of *parquetFile, order, snapshot int) *rowReader {
	r := &rowReader{of: of, order: order, snapshot: snapshot, row: -1}
	for i := range r.columns {
		r.columns[i] = newColumn(of, i)
	}
	r.path0 = r.columns[colPath]
	r.labels = enumColumn{column: r.columns[colLabel]}
	r.states = enumColumn{column: r.columns[colState], names: stateNames}
	r.kinds = enumColumn{column: r.columns[colKind], names: kindNames}
	r.hows = enumColumn{column: r.columns[colHow], names: howNames}
	for i := range r.runStarts {
		r.runStarts[i].column = r.columns[colAt+i]
	}
	return r
}

func (r *rowReader) close() {
	for _, c := range r.columns {
		c.close()
	}
	r.of.close()
}

// next goes to the next row and reads its label and path.
func (r *rowReader) next() (ok bool, err error) {
	if r.row+1 >= r.of.rows {
		return false, nil
	}
	r.row++
	if r.label, err = r.labels.text(r.row); err != nil {
		return false, err
	}
	r.path, err = r.path0.blob(r.row)
	return err == nil, err
}

// state of the current row, and whether its recipe is a difference.
func (r *rowReader) state() (s state, difference bool, err error) {
	code, err := r.states.code(r.row)
	if err != nil {
		return 0, false, err
	}
	difference, err = r.columns[colDifference].bool(r.row)
	return state(code), difference, err
}

// entry fills in everything but Label, Path and Recipe.
func (r *rowReader) entry(e *Entry) error {
	var firstErr error
	fail := func(err error) {
		if firstErr == nil {
			firstErr = err
		}
	}
	i64 := func(col int) int64 {
		v, err := r.columns[col].int64(r.row)
		if err != nil {
			fail(err)
		}
		return v
	}
	bit := func(col int) bool {
		v, err := r.columns[col].bool(r.row)
		if err != nil {
			fail(err)
		}
		return v
	}
	i32 := func(col int) int32 {
		v, err := r.columns[col].int32(r.row)
		if err != nil {
			fail(err)
		}
		return v
	}
	kind, err := r.kinds.code(r.row)
	if err != nil {
		return err
	}
	how, err := r.hows.code(r.row)
	if err != nil {
		return err
	}
	e.Kind, e.How = Kind(kind), How(how)
	e.Since = int(i32(colSnapshot))
	e.Size = i64(colSize)
	e.Allocated = i64(colAllocated)
	e.MtimeNs = i64(colMtime)
	e.CtimeNs = i64(colCtime)
	e.Inode = uint64(i64(colInode))
	e.Links = uint32(i32(colLinks))
	e.Hardlink = bit(colHardlink)
	e.FirstSeen = bit(colFirstSeen)
	e.NeverRead = bit(colNeverRead)
	e.Appended = bit(colAppended)
	e.Zeros = i64(colZeros)
	e.Chain = i64(colChain)
	c := r.columns[colContents]
	j, err := c.at(r.row)
	if err != nil {
		return err
	}
	if j, ok := c.value(j); ok {
		e.Contents = Contents(c.prints[j])
	} else {
		e.Contents = Contents{}
	}
	return firstErr
}

// runCursor reads the values of one field of the recipe.
type runCursor struct {
	*column
	page  parquet.Page // whose place value and index are
	value int          // next value (null or not) of the page
	index int          // next value that is not null
	row   int64        // the row that value begins
}

// skipTo places the cursor at the first value of row.
func (c *runCursor) skipTo(row int64) error {
	if _, err := c.at(row); err != nil {
		return err
	}
	if c.page != c.column.page {
		c.page, c.value, c.index, c.row = c.column.page, 0, 0, c.first
		if c.values > 0 && (len(c.rep) == 0 || c.rep[0] != 0) {
			return c.damaged("a page begins within a row")
		}
	}
	for c.row < row {
		c.row++
		for first := true; c.value < c.values && (first || c.rep[c.value] != 0); first = false {
			if c.def[c.value] == fullDefinition {
				c.index++
			}
			c.value++
		}
	}
	if c.value >= c.values {
		return c.damaged("values are missing")
	}
	return nil
}

// count is how many values there are from here to the row's end, nulls included.
func (c *runCursor) count() int {
	n := 1
	for c.value+n < c.values && c.rep[c.value+n] != 0 {
		n++
	}
	return n
}

// read hands the values of row to set, in order, and returns their number.
func (c *runCursor) read(row int64, set func(i int, v int64)) (n int, err error) {
	if err := c.skipTo(row); err != nil {
		return 0, err
	}
	for first := true; c.value < c.values && (first || c.rep[c.value] != 0); first = false {
		if c.def[c.value] == fullDefinition {
			set(n, c.i64[c.index])
			c.index++
			n++
		}
		c.value++
	}
	c.row++
	return n, nil
}

// recipe appends the current row's stored runs to out. A row's recipe is read at most once.
func (r *rowReader) recipe(out []Run) ([]Run, error) {
	base := len(out)
	if err := r.runStarts[0].skipTo(r.row); err != nil {
		return nil, err
	}
	if n := r.runStarts[0].count(); n > 64 {
		out = slices.Grow(out, n) // growing by and by would hold a large one twice
	}
	n, err := r.runStarts[0].read(r.row, func(_ int, v int64) { out = append(out, Run{At: v}) })
	if err != nil {
		return nil, err
	}
	runs := out[base:]
	for field := 1; field < 4; field++ {
		m, err := r.runStarts[field].read(r.row, func(i int, v int64) {
			if i >= n {
				return
			}
			switch field {
			case 1:
				runs[i].Bytes = v
			case 2:
				runs[i].First = v
			case 3:
				runs[i].Chunks = v
			}
		})
		if err != nil {
			return nil, err
		}
		if m != n {
			return nil, fmt.Errorf("%w: reading %s: the recipe in row %d has fields of different number", ErrDamaged, r.of.name, r.row+1)
		}
	}
	for i := range r.runStarts {
		r.runStarts[i].dropLarge()
	}
	return out, nil
}

// dropLarge gives a large page back that was read to its end: a recipe of millions
// of runs is a page, and is in memory as a recipe now.
func (c *runCursor) dropLarge() {
	if c.value < c.values || c.values < 1<<16 {
		return
	}
	c.column.drop()
	c.page, c.value = nil, 0
}
