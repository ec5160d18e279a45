package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"tidemark/report/estimate"
	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/render/html"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// reportNights is how many steps a report looks back, where nothing else is
// asked for, to say where the change comes from: four weeks.
const reportNights = 28

type reportFlags struct {
	rangeFlags
	output string
}

func (p *program) reportCommand() *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report",
		Short: "One HTML page with every answer, to read, print or hand on",
		Long: `Report writes one HTML page: the answer in three sentences, the way from source to
stored, the nights and what is usual, where the change comes from and what would
save most, the chunk sizes, and with a needs file (--needs FILE) line, window,
retention and plan. It holds no script and loads nothing from elsewhere. It looks
back over the last four weeks of snapshots, or over --from to --to.

The page holds names of files and folders. A file made by --output can be read by
its owner only; one that is there already keeps its permissions.`,
		Example: `  tidemark report --output report.html
  tidemark report --needs needs.toml > report.html
  tidemark report --from 1 --to 28 --json`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.report(cmd, &f) },
	}
	f.register(cmd, fromEarlier, "")
	f.tables(cmd)
	cmd.Flags().StringVar(&f.output, "output", "", "write the page to `FILE` instead of standard output; it is replaced as a whole or not at all")
	must(cmd.MarkFlagFilename("output", "html"))
	return cmd
}

func (p *program) report(cmd *cobra.Command, f *reportFlags) error {
	if f.output == "" && cmd.Flags().Changed("output") {
		return usage("for example --output report.html", "--output names no file")
	}
	q, err := p.ask(&f.rangeFlags)
	if err != nil {
		return err
	}
	// Everything on the page speaks of one moment, what is usual too.
	if err := q.at(q.to); err != nil {
		return err
	}
	if q.from == 0 {
		q.from = max(1, q.to-reportNights)
	}
	ctx, done := heavy(cmd)
	defer done()
	v, err := reportOf(ctx, q.book, q.from, q.to, f, &q.config)
	if err != nil {
		return err
	}
	if f.output != "" {
		write := func(w io.Writer) error { return html.Report(w, v) }
		if q.json {
			write = func(w io.Writer) error { return render.JSON(w, v) }
		}
		if err := writeReport(f.output, write); err != nil {
			return err
		}
		p.remark("%s: the report is written; it holds names of files", f.output)
		return nil
	}
	return p.answer(&q.config, v, func() error { return html.Report(p.stdout, v) }, nil)
}

// reportOf asks every question of the page.
func reportOf(ctx context.Context, book *logbook.Book, from, to int, f *reportFlags, c *config) (*view.Report, error) {
	facts, o := facts(book), c.view(int(f.top))
	parts := view.ReportParts{Made: time.Now(), Version: versionName()}
	var err error
	if parts.Explain, err = explainOne(ctx, book, to, &f.rangeFlags, c); err != nil {
		return nil, err
	}
	if from < to {
		churn := measure.ChurnOptions{Options: f.measure(c)}
		m, err := measure.ChurnBetween(ctx, book, from, to, churn)
		if err != nil {
			return nil, err
		}
		churn.Top = 4 * int(f.top) // what is worth suggesting is chosen among many
		fixes, err := measure.FixesOf(ctx, book, m, churn)
		if err != nil {
			return nil, err
		}
		change, assumed, err := measure.ChangeFor(ctx, book, from, to, f.measure(c))
		if err != nil {
			return nil, err
		}
		ofProfile := o
		ofProfile.Assumed = assumed
		parts.Change, parts.Fixes = view.NewChange(change, facts, ofProfile), view.NewFixes(m, fixes, o)
	} else {
		parts.ChangeReason, parts.FixesReason, parts.TrendReason = view.ReasonOneSnapshot, view.ReasonOneSnapshot, view.ReasonOneSnapshot
	}
	nights := from
	if from == to {
		nights = 0 // there is none
	}
	curve, err := measure.CurveBetween(ctx, book, nights, to, f.measure(c))
	if err != nil {
		return nil, err
	}
	parts.Curve = view.NewCurve(curve, facts, o)
	if to > 1 {
		parts.Trend = &view.TrendParts{Trend: c.trendOf(book), Alert: c.thresholds()}
	}
	if c.needs == nil {
		parts.EstimateReason = view.ReasonNoNeeds
		return view.NewReport(parts, facts, o), nil
	}
	in, err := estimate.Gather(ctx, book, c.needs, estimate.GatherOptions{Depth: int(f.depth)})
	if err != nil {
		return nil, err
	}
	parts.Estimate = view.NewEstimate(view.EstimateParts{
		Result: estimate.Estimate(in, c.needs), Needs: c.needs, Given: true, Trees: in,
		Backtest: estimate.RunBacktest(in, c.needs, 0),
	}, facts, o)
	return view.NewReport(parts, facts, o), nil
}

// writeReport puts a report into a file, as a whole or not at all. What is new is
// the owner's alone; what is there keeps its permissions, and a link stays one.
func writeReport(name string, write func(io.Writer) error) error {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return replaceFile(name, 0o600, write)
	case err != nil:
		return fmt.Errorf("%s: looking at what is there: %w", name, unpathed(err))
	case info.IsDir():
		return usage("for example --output "+filepath.Join(name, "report.html"), "--output %s: that is a folder", name)
	case special(name):
		return writeInto(name, write)
	}
	target, err := filepath.EvalSymlinks(name)
	if err != nil {
		return fmt.Errorf("%s: following the link: %w", name, unpathed(err))
	}
	return replaceFile(target, info.Mode().Perm(), write)
}
