package view

// Term is a word that this program uses in a sense of its own, or of the trade.
type Term struct {
	Word  string `json:"word"`
	Means string `json:"means"`
}

// Glossary explains the words that a reader of any answer may meet, for the report
// and the manual.
func Glossary() []Term {
	return []Term{
		{"baseline", "The first snapshot. Nothing came before it, so nothing in it counts as changed; files that come in later because more is measured, or because they can be read at last, count like it."},
		{"chunk", "A piece of a file, cut where its contents say so. An insertion moves the cuts near it and no others, so that what is the same is cut the same."},
		{"fingerprint", "A keyed checksum of a chunk, by which it is known again. The contents are not kept, and without the key nothing can be looked up by it."},
		{"gear, rabin", "The two ways to find the cuts, both by a checksum that slides over the contents. Gear is the faster one and the default; at the same mean size they save about the same."},
		{"night", "The step from one snapshot to the next; it has the date on which it began. A scan at one o'clock on Saturday measures Friday's night."},
		{"score", "How far a figure lies from the usual one: its distance from the median of such nights, set against how far apart those nights lie. It is the modified z-score, 0.6745 times the distance over the median of all distances. From 3.5 on a night is called unusual and from 7 on critical, unless the needs file says otherwise."},
		{"store", "What would hold the copies: each chunk once, compressed, and something for its own bookkeeping, the overhead."},
		{"torn", "Said of a file that changed while it was read, and again while it was read for the second time. The second reading counts."},
		{"touched", "Said of files that are new or have another size or time. A copy of whole files would send them all; new is what no earlier snapshot held."},
		{"80 % interval", "Where the figure is expected to lie in four cases of five; in the fifth it lies outside. A 95 % interval holds it in nineteen of twenty."},
	}
}
