package main

import (
	"github.com/spf13/cobra"

	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
)

// churnNights is how many steps back churn looks unless told otherwise: a week.
const churnNights = 7

func (p *program) churnCommand() *cobra.Command {
	var f rangeFlags
	cmd := &cobra.Command{
		Use:   "churn",
		Short: "Where the change of some nights lives",
		Long: `Churn says where what is new from night to night comes from (the last seven steps
if no range is named): by folder tree, file, cause and type; how many new bytes a
file brings for each that really differs; what is written anew as a whole night
after night; and what was only renamed.`,
		Example: `  tidemark churn
  tidemark churn --from 1 --to 28 --top 20`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.churn(cmd, &f) },
	}
	f.snapshots(cmd)
	cmd.Flags().Lookup("from").Usage = "the earlier snapshot (default seven steps before)"
	cmd.Flags().Var(&f.top, "top", "rows of a table")
	p.common.rows(cmd)
	return cmd
}

func (p *program) churn(cmd *cobra.Command, f *rangeFlags) error {
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
	if to == 1 {
		return usage("scan again after the next night", "%s: churn needs two snapshots, and there is %s", c.dir, counted(len(book.Segments())))
	}
	if from == 0 {
		if from = max(to-churnNights, 1); f.snapshot > 0 {
			from = to - 1
		}
	}
	heavy()
	ctx, done := interruptible(cmd)
	defer done()
	o := measure.ChurnOptions{Options: f.measure(&c)}
	if to-from < 3 {
		o.WholeNights = 2
	}
	m, err := measure.ChurnBetween(ctx, book, from, to, o)
	if err != nil {
		return err
	}
	v := view.NewChurn(m, facts(book), c.view(int(f.top)))
	return p.answer(&c, v,
		func() error { return render.ChurnText(p.stdout, v) },
		func() error { return render.ChurnCSV(p.stdout, v) })
}
