package render

import "testing"

func TestProfileNamesAreNotRepeated(t *testing.T) {
	for _, c := range []struct{ name, words, want string }{
		{"content-defined 1 MiB, light compression", "chunks of 1 MiB on average, light compression", ""},
		{"Whole files", "whole files, light compression", "light compression"},
		{"ours", "chunks as measured, light compression", "chunks as measured, light compression"},
		{"encrypted before chunking", "chunks of 1 MiB on average, encrypted before they are cut, no compression", "chunks of 1 MiB on average, encrypted before they are cut, no compression"},
	} {
		if got := newWords(c.name, c.words); got != c.want {
			t.Errorf("%q, %q: %q", c.name, c.words, got)
		}
	}
}
