package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// rangeFlags name the snapshots that an answer is about, and its tables.
type rangeFlags struct {
	from, to, snapshot number
	depth, top         number
}

func (f *rangeFlags) register(cmd *cobra.Command) {
	f.depth, f.top = 1, 10
	cmd.Flags().Var(&f.from, "from", "the earlier snapshot")
	cmd.Flags().Var(&f.to, "to", "the later snapshot (default the newest)")
	cmd.Flags().Var(&f.depth, "depth", "levels of folders that tables tell apart")
	cmd.Flags().Var(&f.top, "top", "rows of a table")
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

func (p *program) changeCommand() *cobra.Command {
	var f rangeFlags
	cmd := &cobra.Command{
		Use:   "change",
		Short: "What really changed between two snapshots",
		Long: `Change says how much of what was touched between two snapshots (the last two if
none are named) is really new, how much of it has to travel, and where it lies.`,
		Example: `  tidemark change
  tidemark change --from 3 --to 10
  tidemark change --snapshot 7 --depth 2 --json`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.change(cmd, &f) },
	}
	f.register(cmd)
	cmd.Flags().Var(&f.snapshot, "snapshot", "this snapshot against the one before it")
	p.common.rows(cmd)
	return cmd
}

func (p *program) change(cmd *cobra.Command, f *rangeFlags) error {
	c, err := p.common.config()
	if err != nil {
		return err
	}
	if err := f.check(); err != nil {
		return err
	}
	from, to := int(f.from), int(f.to)
	if f.snapshot > 0 {
		from, to = int(f.snapshot)-1, int(f.snapshot)
	}
	if to == 1 {
		return usage("name a later one; the baseline itself is explained by tidemark explain --snapshot 1",
			"snapshot 1 is the baseline: nothing came before it that it could differ from")
	}
	heavy()
	ctx, done := interruptible(cmd)
	defer done()
	return c.answerFrom(ctx, func(book *logbook.Book) error { return p.changeBook(ctx, book, from, to, f, &c) })
}

func (p *program) changeBook(ctx context.Context, book *logbook.Book, from, to int, f *rangeFlags, c *config) error {
	if n := len(book.Segments()); n < 2 {
		return usage("scan again after the next night", "%s: a change needs two snapshots, and there is %s", c.dir, counted(n))
	}
	m, assumed, err := measure.ChangeFor(ctx, book, from, to, f.measure(c))
	if err != nil {
		return hinted(err, fmt.Sprintf("the logbook holds snapshots 1 to %d", len(book.Segments())))
	}
	o := c.view(int(f.top))
	o.Assumed = assumed
	v := view.NewChange(m, facts(book), o)
	return p.answer(c, v,
		func() error { return render.ChangeText(p.stdout, v) },
		func() error { return render.ChangeCSV(p.stdout, v) })
}

func counted(snapshots int) string {
	if snapshots == 0 {
		return "none yet"
	}
	return "only the baseline"
}
