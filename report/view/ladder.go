package view

// Sign says how a step's bytes enter the ladder.
type Sign string

// Signs of a step.
const (
	Start  Sign = " "
	Minus  Sign = "−"
	Plus   Sign = "+"
	Equals Sign = "="
)

// Step is one line of a ladder: the way from one figure to another in which each
// "=" is what the lines above it add up to, to the byte.
type Step struct {
	Sign  Sign
	Words string
	Bytes int64
	Known bool    // false: not measured; Bytes and what follows is unset
	Share float64 // of the ladder's whole; 1 is all
	From  float64 // the bar of the step: from … to, 0 to 1 of the highest level.
	To    float64 // A "−" or "+" covers what it takes or adds; the others all they hold
}

// ladder is being built. whole is what shares refer to, top the highest level.
type ladder struct {
	whole, top int64
	level      int64
	steps      []Step
}

func (l *ladder) step(sign Sign, words string, n, from, to int64) {
	l.steps = append(l.steps, Step{
		Sign: sign, Words: words, Bytes: n, Known: true,
		Share: share(n, l.whole), From: share(from, l.top), To: share(to, l.top),
	})
}

func (l *ladder) start(words string, n int64) {
	l.level = n
	l.step(Start, words, n, 0, n)
}

func (l *ladder) minus(words string, n int64) {
	l.step(Minus, words, n, l.level-n, l.level)
	l.level -= n
}

func (l *ladder) plus(words string, n int64) {
	l.step(Plus, words, n, l.level, l.level+n)
	l.level += n
}

// equals states the level as it is.
func (l *ladder) equals(words string) { l.step(Equals, words, l.level, 0, l.level) }

func (l *ladder) unknown(sign Sign, words string) {
	l.steps = append(l.steps, Step{Sign: sign, Words: words})
}
