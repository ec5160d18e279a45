package main

import (
	"context"
	"errors"
	"time"

	"github.com/spf13/cobra"

	"tidemark/report/estimate"
	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// verdict is the exit code of an alert that has said all it has to say.
type verdict int

func (v verdict) Error() string { return "not usual" }

// exitUnknown is alert's code for all that keeps it from judging, wrong usage
// included: 1 and 2 would be read as judgements.
const exitUnknown = 3

// alertCode maps what alert ended with to its own exit codes.
func alertCode(err error) (code int, told bool) {
	var v verdict
	if errors.As(err, &v) {
		return int(v), true
	}
	return exitUnknown, false
}

type alertFlags struct {
	all      bool
	snapshot number
	metrics  string
}

func (p *program) alertCommand() *cobra.Command {
	var f alertFlags
	cmd := &cobra.Command{
		Use:   "alert",
		Short: "One line and an exit code for a monitoring system",
		Long: `Alert says in one line whether last night was unusual: how much was new, how well
the new data of each type and folder compresses, how many files were given another
name or ending, how much could be read, how long ago the last good scan was, and,
with a needs file that names a current plan, when it is forecast to be full. It shows
the evidence and the folders that hold most of it, and names no cause.

Exit codes: 0 usual, 1 warning, 2 critical, 3 unknown (too few nights to judge by, no
logbook, or one that can not be read). Thresholds stand in the needs file. With
--quiet nothing is printed and the code is 0 while all is usual, and while nights like
the newest are only too few yet to judge by; leave it out where the difference counts.
Only the logbook's summaries are read: tidemark audit proves the rest.`,
		Example: `  tidemark alert
  tidemark alert --all --needs needs.toml
  tidemark alert --quiet --metrics /var/lib/node-metrics/tidemark.prom`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.alert(cmd, &f) },
	}
	cmd.Flags().BoolVar(&f.all, "all", false, "under the line, everything that was looked at")
	cmd.Flags().Var(&f.snapshot, "snapshot", "judge this snapshot as it stood then; how old it is and the plan are left out")
	metricsFlag(cmd, &f.metrics)
	return cmd
}

func (p *program) alert(cmd *cobra.Command, f *alertFlags) error {
	c, err := p.common.config()
	if err != nil {
		return err
	}
	if f.metrics != "" && f.snapshot > 0 {
		return usage("leave one of them out", "--metrics tells of the newest snapshot, and --snapshot names another")
	}
	ctx, done := interruptible(cmd)
	defer done()
	v, book, err := c.alertView(ctx, int(f.snapshot), time.Now())
	if err != nil {
		// A monitoring system reads stdout: the line has to be there all the same.
		v = view.UnknownAlert(err.Error())
	}
	// A logbook of a few nights would call somebody every morning for a week, until
	// nobody listens: with --quiet that is no news. --json and the gauges say it.
	silent := c.quiet && (v.Status == view.StatusUsual || v.TooYoung())
	if !silent || c.json {
		if werr := p.answer(&c, v, func() error {
			if f.all {
				return render.AlertText(p.stdout, v)
			}
			return render.AlertLine(p.stdout, v)
		}, nil); werr != nil {
			return werr
		}
	}
	if err != nil {
		return err
	}
	if f.metrics != "" && v.Snapshot > 0 {
		if err := c.writeMetrics(f.metrics, book, v); err != nil {
			return err
		}
	}
	if code := v.Status.ExitCode(); code != 0 && !silent {
		return verdict(code)
	}
	return nil
}

// alertView judges a snapshot, 0: the newest. The book is that of the snapshot.
func (c *config) alertView(ctx context.Context, snapshot int, now time.Time) (*view.Alert, *logbook.Book, error) {
	book, err := c.open()
	if err != nil {
		return nil, nil, err
	}
	if snapshot > 0 {
		if book, err = logbook.OpenAt(c.dir, snapshot); err != nil {
			return nil, nil, err
		}
		now = time.Time{}
	}
	v, err := c.judge(ctx, book, now)
	return v, book, err
}

// judge judges the newest snapshot of a book. now zero: it is an earlier one, and
// neither its age nor the plan are looked at.
func (c *config) judge(ctx context.Context, book *logbook.Book, now time.Time) (*view.Alert, error) {
	parts := view.AlertParts{
		Segments: book.Segments(), Alert: c.thresholds(), Now: now,
		Unread: func() ([]measure.UnreadFolder, error) { return measure.UnreadFolders(ctx, book, 0) },
	}
	if len(parts.Segments) > 0 {
		parts.Trend = c.trendOf(book)
		if !now.IsZero() {
			var err error
			if parts.Plan, err = c.planFull(ctx, book); err != nil {
				return nil, err
			}
		}
	}
	return view.NewAlert(parts, c.view(0)), nil
}

// planFull asks the estimate when the current plan is full; nil where the needs
// file names none with a capacity.
func (c *config) planFull(ctx context.Context, book *logbook.Book) (*view.PlanFull, error) {
	if c.needs == nil {
		return nil, nil
	}
	for i := range c.needs.Plans {
		if plan := &c.needs.Plans[i]; plan.Current && plan.CapacityBytes > 0 {
			in, err := estimate.Gather(ctx, book, c.needs, estimate.GatherOptions{})
			if err != nil {
				return nil, err
			}
			return view.NewPlanFull(plan, estimate.Estimate(in, c.needs), book.Segments()[len(book.Segments())-1].Taken), nil
		}
	}
	return nil, nil
}
