package main

import (
	"context"
	"io"
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
