package main

import (
	"context"

	"github.com/spf13/cobra"

	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

func (p *program) explainCommand() *cobra.Command {
	var f rangeFlags
	cmd := &cobra.Command{
		Use:   "explain",
		Short: "From source size to stored size, step by step",
		Long: `Explain says why a stored copy of one snapshot (the newest if none is named) is
smaller, or larger, than its source. With --from, the figures of that earlier
snapshot stand beside it.`,
		Example: `  tidemark explain
  tidemark explain --snapshot 7 --depth 2
  tidemark explain --from 1 --to 28`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.explain(cmd, &f) },
	}
	f.register(cmd, fromEarlier, "the snapshot to explain, the same as --to")
	f.tables(cmd)
	p.common.rows(cmd)
	return cmd
}

func (p *program) explain(cmd *cobra.Command, f *rangeFlags) error {
	c, err := p.common.config()
	if err != nil {
		return err
	}
	if err := f.check(); err != nil {
		return err
	}
	ctx, done := interruptible(cmd)
	defer done()
	return c.answerFrom(ctx, func(book *logbook.Book) error { return p.explainBook(ctx, book, f, &c) })
}

func (p *program) explainBook(ctx context.Context, book *logbook.Book, f *rangeFlags, c *config) error {
	_, to, err := f.resolve(c, book)
	if err != nil {
		return err
	}
	v, err := explainOne(ctx, book, to, f, c)
	if err != nil {
		return err
	}
	if f.from > 0 {
		before, err := explainOne(ctx, book, int(f.from), f, c)
		if err != nil {
			return err
		}
		v.Compare(before)
	}
	return p.answer(c, v,
		func() error { return render.ExplainText(p.stdout, v) },
		func() error { return render.ExplainCSV(p.stdout, v) })
}

func explainOne(ctx context.Context, book *logbook.Book, snapshot int, f *rangeFlags, c *config) (*view.Explain, error) {
	m, assumed, err := measure.ExplainFor(ctx, book, snapshot, f.measure(c))
	if err != nil {
		return nil, err
	}
	o := c.view(int(f.top))
	o.Assumed = assumed
	return view.NewExplain(m, facts(book), o), nil
}
