package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

func metricsFlag(cmd *cobra.Command, value *string) {
	cmd.Flags().StringVar(value, "metrics", "", "also write gauges for Prometheus to `FILE`, for a collector of text files; every user can read it, and it names folders")
	must(cmd.MarkFlagFilename("metrics", "prom"))
}

// checkMetrics refuses before anything is done what could not be written in the end.
func checkMetrics(file string) error {
	if file == "" {
		return nil
	}
	const hint = "name a file in a folder that is there, for example --metrics /var/lib/prometheus/tidemark.prom"
	info, err := os.Stat(file)
	switch {
	case err == nil && info.IsDir():
		return usage("for example --metrics "+filepath.Join(file, "tidemark.prom"), "--metrics %s: that is a folder", file)
	case err == nil:
		return nil
	}
	folder := filepath.Dir(file)
	switch info, err := os.Stat(folder); {
	case err != nil:
		return usage(hint, "--metrics %s: looking at its folder: %v", file, unpathed(err))
	case !info.IsDir():
		return usage(hint, "--metrics %s: %s is no folder", file, folder)
	case os.IsPathSeparator(file[len(file)-1]):
		return usage(hint, "--metrics %s: that names a folder", file)
	}
	return nil
}

// writeMetrics replaces the file by what stands in the book now. alert may be nil.
func (c *config) writeMetrics(file string, book *logbook.Book, alert *view.Alert) error {
	m := view.NewMetrics(view.MetricsParts{Segments: book.Segments(), Trend: c.trendOf(book), Alert: alert})
	path, err := filepath.Abs(file)
	if err != nil {
		return err
	}
	write := func(w io.Writer) error { return render.Metrics(w, m) }
	if special(path) {
		return writeInto(path, write)
	}
	// The collector runs as somebody else.
	return replaceFile(path, 0o644, write)
}

// scanMetrics writes the gauges after a scan, with what the alert says of it.
func (c *scanConfig) scanMetrics(ctx context.Context) error {
	book, err := c.open()
	if err != nil {
		return err
	}
	alert, err := c.judge(ctx, book, time.Now())
	if err != nil {
		return err
	}
	return c.writeMetrics(c.metrics, book, alert)
}
