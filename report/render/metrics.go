package render

import (
	"bytes"
	"io"
	"strconv"
	"strings"

	"tidemark/report/view"
)

// Metrics prints gauges as the Prometheus text format has them, version 0.0.4. The
// last line makes it a whole OpenMetrics text too; the other format reads it as a
// comment. No sample has a timestamp: whoever collects the file sets it. Source:
// "Exposition formats", Prometheus documentation; OpenMetrics 1.0 (both from memory).
func Metrics(w io.Writer, m *view.Metrics) error {
	var out bytes.Buffer
	for _, f := range m.Families {
		out.WriteString("# HELP " + f.Name + " " + helpText.Replace(f.Help) + "\n")
		out.WriteString("# TYPE " + f.Name + " gauge\n")
		for _, s := range f.Samples {
			out.WriteString(f.Name)
			for i, l := range s.Labels {
				out.WriteString([]string{"{", ","}[min(i, 1)] + l.Name + `="` + labelText.Replace(l.Value) + `"`)
			}
			if len(s.Labels) > 0 {
				out.WriteString("}")
			}
			out.WriteString(" " + strconv.FormatFloat(s.Value, 'g', -1, 64) + "\n")
		}
	}
	out.WriteString("# EOF\n")
	_, err := w.Write(out.Bytes())
	return err
}

var (
	helpText  = strings.NewReplacer(`\`, `\\`, "\n", `\n`)
	labelText = strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`)
)
