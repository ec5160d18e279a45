package main

import (
	"context"
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"

	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

// rangeFlags name the snapshots that an answer is about, and how much of it is
// shown.
type rangeFlags struct {
	from, to, snapshot number
	depth, top         number
}

// register adds --from and --to, and --snapshot unless the command has no words
// for it.
func (f *rangeFlags) register(cmd *cobra.Command, from, snapshot string) {
	f.depth, f.top = 1, 10
	cmd.Flags().Var(&f.from, "from", from)
	cmd.Flags().Var(&f.to, "to", "the later snapshot (default the newest)")
	if snapshot != "" {
		cmd.Flags().Var(&f.snapshot, "snapshot", snapshot)
	}
}

const (
	fromEarlier  = "the earlier snapshot"
	fromBefore   = "the earlier snapshot (default the one before)"
	oneAndNight  = "this snapshot and the night that led to it"
	rowsOfTables = "rows of a table"
)

// tables adds the flags of commands that show tables of folders.
func (f *rangeFlags) tables(cmd *cobra.Command) {
	cmd.Flags().Var(&f.depth, "depth", "levels of folders that tables tell apart")
	cmd.Flags().Var(&f.top, "top", rowsOfTables)
}

// check refuses what contradicts itself.
func (f *rangeFlags) check() error {
	switch {
	case f.snapshot > 0 && (f.from > 0 || f.to > 0):
		return usage("leave one of them out", "--snapshot and --from/--to name snapshots twice")
	case f.from > 0 && f.to > 0 && f.from >= f.to:
		return usage("--from names the earlier one", "--from %d is not earlier than --to %d", f.from, f.to)
	}
	return nil
}

func (f *rangeFlags) measure(c *config) measure.Options {
	return measure.Options{Profile: c.profile, Depth: int(f.depth), Top: int(f.top)}
}

// resolve turns the flags into numbers that are there: to is at least 1, from 0
// where none was named.
func (f *rangeFlags) resolve(c *config, book *logbook.Book) (from, to int, err error) {
	if err := f.check(); err != nil {
		return 0, 0, err
	}
	newest, err := c.newest(book)
	if err != nil {
		return 0, 0, err
	}
	from, to = int(f.from), int(max(f.snapshot, f.to))
	if to > newest {
		option := "--to"
		if f.snapshot > 0 {
			option = "--snapshot"
		}
		return 0, 0, usage(fmt.Sprintf("the logbook holds snapshots 1 to %d", newest), "%s: %s %d: there is no snapshot %d", c.dir, option, to, to)
	}
	if to == 0 {
		to = newest
	}
	if from >= to {
		return 0, 0, usage("--from names an earlier snapshot", "--from %d is not earlier than snapshot %d", from, to)
	}
	return from, to, nil
}

// newest is the number of the newest snapshot, at least 1: a logbook without one
// answers nothing.
func (c *config) newest(book *logbook.Book) (int, error) {
	n := len(book.Segments())
	if n == 0 {
		return 0, usage("measure a tree first: tidemark scan ROOT", "%s: the logbook holds no snapshot yet", c.dir)
	}
	return n, nil
}

// question is what a command about some snapshots answers from.
type question struct {
	config
	book     *logbook.Book
	from, to int // as resolve gives them
}

// ask checks the options, opens the logbook and finds the snapshots.
func (p *program) ask(f *rangeFlags) (*question, error) {
	c, err := p.common.config()
	if err != nil {
		return nil, err
	}
	return c.ask(f)
}

func (c *config) ask(f *rangeFlags) (*question, error) {
	book, err := c.open()
	if err != nil {
		return nil, err
	}
	q := &question{config: *c, book: book}
	q.from, q.to, err = f.resolve(c, book)
	return q, err
}

// at goes back to the logbook as it was after snapshot n.
func (q *question) at(n int) error {
	if n >= len(q.book.Segments()) {
		return nil
	}
	book, err := logbook.OpenAt(q.dir, n)
	if err != nil {
		return err
	}
	q.book = book
	return nil
}

// heavy is interruptible for commands that hold something for every chunk or
// file: less than a third of the usual room is left to the garbage collector, which
// keeps large logbooks in bounds at little cost: most of what they hold has no
// pointers.
func heavy(cmd *cobra.Command) (context.Context, context.CancelFunc) {
	debug.SetGCPercent(30)
	return interruptible(cmd)
}
