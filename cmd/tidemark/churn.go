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
	f.register(cmd, "the earlier snapshot (default seven steps before)", oneAndNight)
	cmd.Flags().Var(&f.top, "top", rowsOfTables)
	p.common.rows(cmd)
	return cmd
}

func (p *program) churn(cmd *cobra.Command, f *rangeFlags) error {
	q, err := p.ask(f)
	if err != nil {
		return err
	}
	from, to := q.from, q.to
	if to == 1 {
		return usage("scan again after the next night", "%s: churn needs two snapshots, and there is %s", q.dir, counted(len(q.book.Segments())))
	}
	if from == 0 {
		if from = max(to-churnNights, 1); f.snapshot > 0 {
			from = to - 1
		}
	}
	ctx, done := heavy(cmd)
	defer done()
	o := measure.ChurnOptions{Options: f.measure(&q.config)}
	if to-from < 3 {
		o.WholeNights = 2
	}
	m, err := measure.ChurnBetween(ctx, q.book, from, to, o)
	if err != nil {
		return err
	}
	v := view.NewChurn(m, facts(q.book), q.view(int(f.top)))
	return p.answer(&q.config, v,
		func() error { return render.ChurnText(p.stdout, v) },
		func() error { return render.ChurnCSV(p.stdout, v) })
}
