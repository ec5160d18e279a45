package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	_ "time/tzdata" // zones of the needs file on machines that have no database of them

	"github.com/spf13/cobra"

	"tidemark/report/engine"
	"tidemark/report/estimate"
	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// estimateFlags are the options of an estimate, as typed.
type estimateFlags struct {
	rangeFlags
	example, backtest bool
	hide              number
	restore           []string
}

func (p *program) estimateCommand() *cobra.Command {
	f := estimateFlags{rangeFlags: rangeFlags{depth: 1, top: 10}}
	cmd := &cobra.Command{
		Use:   "estimate",
		Short: "Upload, window, restore, retention, plan and cost",
		Long: `Estimate answers, from the measured nights and the needs file: how long the first
upload takes, whether the nightly run ends inside the window and which line is
enough, how long a restore takes, what the kept versions need and when a plan is
full, which plan is the cheapest that fits. Each answer comes with its interval;
what the nights measured so far can not answer is refused with the number it needs.`,
		Example: `  tidemark estimate --example > needs.toml
  tidemark estimate --needs needs.toml
  tidemark estimate --needs needs.toml --restore office/accounts --backtest`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.estimate(cmd, &f) },
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.BoolVar(&f.example, "example", false, "print a needs file with comments to start from, and nothing else")
	flags.StringArrayVar(&f.restore, "restore", nil, "time the restore of `LABEL/PATH` too, a folder or a file; may be repeated")
	flags.BoolVar(&f.backtest, "backtest", false, "hide the last nights, forecast them, and score the forecasts")
	flags.Var(&f.hide, "hide", "how many nights the backtest hides (default half of them)")
	flags.Var(&f.to, "to", "answer as after this snapshot, as if no later one were measured (default the newest)")
	flags.Var(&f.depth, "depth", "levels of folders whose restore is told apart")
	flags.Var(&f.top, "top", rowsOfTables)
	p.common.rows(cmd)
	return cmd
}

func (p *program) estimate(cmd *cobra.Command, f *estimateFlags) error {
	if f.example {
		return p.answer(&config{}, nil, func() error {
			_, err := io.WriteString(p.stdout, engine.Example())
			return err
		}, nil)
	}
	c, err := p.common.config()
	if err != nil {
		return err
	}
	if f.hide > 0 && !f.backtest {
		return usage("add --backtest", "--hide says how many nights a backtest hides, and none is asked for")
	}
	if n := len(f.restore); n > measure.MaxTreePaths {
		return usage("ask for the others in a second run", "%d times --restore: at most %d at once", n, measure.MaxTreePaths)
	}
	needs := c.needsOrDefault()
	q, err := c.ask(&f.rangeFlags)
	if err != nil {
		return err
	}
	if err := q.at(q.to); err != nil {
		return err
	}
	ctx, done := interruptible(cmd)
	defer done()
	in, err := estimate.Gather(ctx, q.book, needs, estimate.GatherOptions{Depth: int(f.depth), Paths: f.restore})
	if errors.Is(err, logbook.ErrUsage) {
		return hinted(err, "paths begin with a label: "+labelsOf(q.book)+"; tidemark explain --depth 2 lists folders")
	}
	if err != nil {
		return err
	}
	parts := view.EstimateParts{Result: estimate.Estimate(in, needs), Needs: needs, Given: c.needs != nil, Trees: in}
	if f.backtest {
		parts.Backtest = estimate.RunBacktest(in, needs, int(f.hide))
	}
	v := view.NewEstimate(parts, facts(q.book), c.view(int(f.top)))
	return p.answer(&c, v,
		func() error { return render.EstimateText(p.stdout, v) },
		func() error { return render.EstimateCSV(p.stdout, v) })
}

// labelsOf lists the labels of the newest snapshot.
func labelsOf(b *logbook.Book) string {
	var out []string
	for _, r := range b.Last().Scope.Roots {
		out = append(out, fmt.Sprintf("%s/…", r.Label))
	}
	return strings.Join(out, ", ")
}
