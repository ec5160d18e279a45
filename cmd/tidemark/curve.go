package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"

	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

func (p *program) curveCommand() *cobra.Command {
	var f rangeFlags
	cmd := &cobra.Command{
		Use:   "curve",
		Short: "Stored size and nightly upload against average chunk size",
		Long: `Curve says what one snapshot (the newest if none is named) and the night that led
to it would take if it were cut into larger chunks, and as whole files: every
size from the logbook's own up to 8 MiB, out of what was measured once. With
--from, new bytes are added up over all nights from that snapshot on.`,
		Example: `  tidemark curve
  tidemark curve --needs needs.toml
  tidemark curve --from 1 --to 8 --csv`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.curve(cmd, &f) },
	}
	f.snapshots(cmd)
	p.common.rows(cmd)
	return cmd
}

// snapshots are the flags of commands without tables of folders.
func (f *rangeFlags) snapshots(cmd *cobra.Command) {
	f.depth, f.top = 1, 10
	cmd.Flags().Var(&f.from, "from", "the earlier snapshot (default the one before)")
	cmd.Flags().Var(&f.to, "to", "the later snapshot (default the newest)")
	cmd.Flags().Var(&f.snapshot, "snapshot", "this snapshot and the night that led to it")
}

// resolve turns the flags into numbers that are there: to is at least 1, from 0
// where none was named.
func (f *rangeFlags) resolve(c *config, book *logbook.Book) (from, to int, err error) {
	if err := f.check(); err != nil {
		return 0, 0, err
	}
	newest := len(book.Segments())
	if newest == 0 {
		return 0, 0, usage("measure a tree first: tidemark scan ROOT", "%s: the logbook holds no snapshot yet", c.dir)
	}
	from, to = int(f.from), int(max(f.snapshot, f.to))
	if to > newest {
		return 0, 0, usage(fmt.Sprintf("the logbook holds snapshots 1 to %d", newest), "%s: there is no snapshot %d", c.dir, to)
	}
	if to == 0 {
		to = newest
	}
	if from >= to {
		return 0, 0, usage("--from names an earlier snapshot", "--from %d is not earlier than snapshot %d", from, to)
	}
	return from, to, nil
}

// heavy is for commands that hold something for every chunk or file: less than a third of
// the usual room is left to the garbage collector, which keeps large logbooks in
// bounds at little cost: most of what they hold has no pointers.
func heavy() { debug.SetGCPercent(30) }

func (p *program) curve(cmd *cobra.Command, f *rangeFlags) error {
	c, err := p.common.config()
	if err != nil {
		return err
	}
	book, err := c.open()
	if err != nil {
		return err
	}
	from, to, err := f.resolve(&c, book)
	if err != nil {
		return err
	}
	heavy()
	ctx, done := interruptible(cmd)
	defer done()
	m, err := measure.CurveBetween(ctx, book, from, to, f.measure(&c))
	if err != nil {
		return err
	}
	v := view.NewCurve(m, facts(book), c.view(int(f.top)))
	return p.answer(&c, v,
		func() error { return render.CurveText(p.stdout, v) },
		func() error { return render.CurveCSV(p.stdout, v) })
}
