package html

import "testing"

// What belongs together does not break; whatever the text holds, it is text.
func TestTie(t *testing.T) {
	for text, want := range map[string]string{
		"3.95 MB compressed":           `3.9<span class="tie">5 MB</span> compressed`,
		"at 20 Mbit/s, 12.5 % of it":   `at 2<span class="tie">0 Mbit/s</span>, 12.<span class="tie">5 %</span> of it`,
		"from 2026-03-09 01:30 +01:00": `from <span class="tie">2026-03-09</span> <span class="tie">01:30 +01:00</span>`,
		"18 nights, 3 minutes":         "18 nights, 3 minutes",
		`<b>1 MB</b> & "2 s"`:          `&lt;b&gt;<span class="tie">1 MB</span>&lt;/b&gt; &amp; &#34;<span class="tie">2 s</span>&#34;`,
		"":                             "",
	} {
		if got := string(tie(text)); got != want {
			t.Errorf("%q became %s, want %s", text, got, want)
		}
	}
}
