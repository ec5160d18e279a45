package units

import (
	"fmt"
	"math"
	"math/big"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/dustin/go-humanize"
)

// size is a number and what follows it. No sign and no exponent: a size is
// written by hand, and 1E3 could as well mean three exabytes.
var sizePattern = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?) ?([A-Za-z]*)$`)

const (
	suffixes      = "B, kB, MB, GB, TB, PB, EB (powers of 1000) or KiB, MiB, GiB, TiB, PiB, EiB (powers of 1024)"
	maxSizeLength = 64 // longer text is no size, and the error line quotes it
)

// ParseBytes reads a size from 0 to 9223372036854775807 bytes: "64KiB",
// "1.5 GB", "2000000" (bytes). One space may stand before the suffix; the case
// of letters does not matter, except that Mb and its like are refused because
// they mean bits. A lone K, M, G … is refused as ambiguous. With a suffix above
// B a fraction is rounded to the nearest byte; a fraction of a byte is refused,
// and so is an amount that would round to none. The error is one line that
// quotes the text and says what would be right; it names the suffixes there are.
func ParseBytes(text string) (int64, error) {
	trimmed := strings.TrimSpace(text)
	switch {
	case trimmed == "":
		return 0, fmt.Errorf("empty size: write a number and one of %s", suffixes)
	case len(trimmed) > maxSizeLength:
		return 0, fmt.Errorf("size of %d characters is too long: write a number and one of %s", len(trimmed), suffixes)
	case strings.HasPrefix(trimmed, "-"):
		return 0, fmt.Errorf("negative size %q: a size is 0 or more", trimmed)
	case strings.Contains(trimmed, ","):
		return 0, fmt.Errorf("size %q has a comma: write a point before fractions and no grouping", trimmed)
	}
	parts := sizePattern.FindStringSubmatch(trimmed)
	if parts == nil {
		return 0, fmt.Errorf("size %q is no number with a suffix: write a number and one of %s", trimmed, suffixes)
	}
	number, suffix := parts[1], parts[2]
	size, err := suffixSize(trimmed, number, suffix)
	if err != nil {
		return 0, err
	}
	tooLarge := fmt.Errorf("size %q is too large: the most is %d bytes", trimmed, int64(math.MaxInt64))
	if !strings.Contains(number, ".") {
		n, err := humanize.ParseBytes(number + suffix) // exact for whole numbers, and minds the overflow
		if err != nil || n > math.MaxInt64 {
			return 0, tooLarge
		}
		return int64(n), nil
	}
	amount, ok := new(big.Rat).SetString(number)
	if !ok {
		return 0, fmt.Errorf("size %q is no number with a suffix", trimmed)
	}
	amount.Mul(amount, new(big.Rat).SetInt(new(big.Int).SetUint64(size)))
	rounded := roundHalfUp(amount)
	switch {
	case size == 1 && !amount.IsInt(), amount.Sign() > 0 && rounded.Sign() == 0:
		return 0, fmt.Errorf("size %q holds a fraction of a byte: write a whole number of bytes", trimmed)
	case !rounded.IsInt64():
		return 0, tooLarge
	}
	return rounded.Int64(), nil
}

// suffixSize is the number of bytes that suffix stands for.
func suffixSize(text, number, suffix string) (uint64, error) {
	if suffix == "" {
		return 1, nil
	}
	if len(suffix) == 2 && suffix[1] == 'b' && suffix[0] >= 'A' && suffix[0] <= 'Z' {
		return 0, fmt.Errorf("suffix %q in %q means bits: write %s%sB for bytes", suffix, text, number, suffix[:1])
	}
	for _, system := range byteUnits {
		for _, u := range system {
			if strings.EqualFold(suffix, u.suffix) {
				return u.size, nil
			}
		}
	}
	if len(suffix) == 1 {
		for i, u := range byteUnits[SI] {
			if i > 0 && strings.EqualFold(suffix, u.suffix[:1]) {
				return 0, fmt.Errorf("size %q is ambiguous: write %s%s or %s%s", text, number, u.suffix, number, byteUnits[IEC][i].suffix)
			}
		}
	}
	return 0, fmt.Errorf("unknown suffix %q in size %q: use %s", suffix, text, suffixes)
}

func roundHalfUp(r *big.Rat) *big.Int {
	doubled := new(big.Int).Mul(r.Num(), big.NewInt(2))
	doubled.Add(doubled, r.Denom())
	return doubled.Div(doubled, new(big.Int).Mul(r.Denom(), big.NewInt(2)))
}

var (
	durationPattern = regexp.MustCompile(`^(?:([0-9]+(?:\.[0-9]*)?|\.[0-9]+)d)?(.*)$`)
	plainNumber     = regexp.MustCompile(`^[0-9]*\.?[0-9]+$`)
)

// ParseDuration reads Go's syntax with days before it: "90m", "1h30m", "2d",
// "1d12h", "0.5d". A day is 24 hours. Negative durations are refused; zero is
// "0" or "0s". Errors are one line that names the units there are.
func ParseDuration(text string) (time.Duration, error) {
	trimmed := strings.TrimSpace(text)
	if len(trimmed) > maxSizeLength {
		return 0, fmt.Errorf("duration of %d characters is too long: write a number and d, h, m, s or ms, such as 1d12h or 90m", len(trimmed))
	}
	if strings.HasPrefix(trimmed, "-") {
		return 0, fmt.Errorf("negative duration %q: a duration is 0 or more", trimmed)
	}
	if trimmed != "0" && plainNumber.MatchString(trimmed) {
		return 0, fmt.Errorf("duration %q has no unit: write %ss, %sm, %sh or %sd", trimmed, trimmed, trimmed, trimmed, trimmed)
	}
	parts := durationPattern.FindStringSubmatch(trimmed)
	if parts == nil || trimmed == "" || parts[1] != "" && strings.HasPrefix(parts[2], "-") {
		return 0, badDuration(trimmed)
	}
	var days, rest time.Duration
	var err error
	if parts[1] != "" {
		days, err = time.ParseDuration(parts[1] + "h")
		if err != nil || days > math.MaxInt64/24 {
			return 0, badDuration(trimmed)
		}
		days *= 24
	}
	if parts[2] != "" {
		if rest, err = time.ParseDuration(parts[2]); err != nil || rest > math.MaxInt64-days {
			return 0, badDuration(trimmed)
		}
	}
	return days + rest, nil
}

func badDuration(text string) error {
	return fmt.Errorf("duration %s is not understood: write a number and d, h, m, s or ms, such as 1d12h or 90m; the most is 106751d", strconv.Quote(text))
}
