package main

import (
	"context"

	"github.com/spf13/cobra"

	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

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
	f.register(cmd, fromEarlier, "this snapshot against the one before it")
	f.tables(cmd)
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
	ctx, done := heavy(cmd)
	defer done()
	return c.answerFrom(ctx, func(book *logbook.Book) error { return p.changeBook(ctx, book, from, to, f, &c) })
}

func (p *program) changeBook(ctx context.Context, book *logbook.Book, from, to int, f *rangeFlags, c *config) error {
	if n := len(book.Segments()); n < 2 {
		return usage("scan again after the next night", "%s: a change needs two snapshots, and there is %s", c.dir, counted(n))
	}
	if _, _, err := f.resolve(c, book); err != nil {
		return err
	}
	m, assumed, err := measure.ChangeFor(ctx, book, from, to, f.measure(c))
	if err != nil {
		return err
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
