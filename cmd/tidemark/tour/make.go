package tour

import (
	"encoding/binary"
	"time"
)

// maker says how the bytes of a mint come about.
type maker uint8

const (
	raw   maker = iota // handed over when written (compressed text); cannot be made again
	frame              // as raw: the headers of a zip file, never counted as new contents
	noise              // incompressible: pictures, encrypted data
	half               // records of a drawing: compresses 2:1, by its repeats
	rows               // table rows: text with random fields
	lines              // log lines of one day
)

// Every maker's output ends with at least 60 random bits within edgeBytes, and
// begins with them, lines excepted, which stand only at a file's beginning or
// after its old end: no two mints agree there but by a chance of about 2⁻⁶⁰.
const edgeBytes = 16

const (
	rowBytes  = 96
	lineBytes = 96
)

// '#' stands for a random hex digit, in groups of eight, '9' for a random
// decimal one. No stretch without them reaches 32 bytes.
const (
	rowTemplate  = "################;board 999999;long 9999;wide 9999;cost 999999.99;left 999999;9;################\n"
	lineTemplate = "YYYY-MM-DDThh:mm:ss ######## bench.example.org probe 99: air 999.99 wood 99.99 ################\n"
)

var (
	rowForm  = newForm(rowTemplate)
	lineForm = newForm(lineTemplate)
)

// hexPair holds the two hex digits of each byte.
var hexPair = func() (t [256]uint16) {
	const digits = "0123456789abcdef"
	for i := range t {
		t[i] = uint16(digits[i>>4]) | uint16(digits[i&15])<<8
	}
	return t
}()

// form is a template and the places of its random digits.
type form struct {
	text         []byte
	hex, decimal []int // hex: where groups begin
}

func newForm(template string) form {
	f := form{text: []byte(template)}
	run := 0
	for i := range f.text {
		switch f.text[i] {
		case '#':
			if run++; run%8 == 1 {
				f.hex = append(f.hex, i)
			}
		case '9':
			f.decimal = append(f.decimal, i)
		}
	}
	return f
}

// fill writes one copy of the form with the digits that s yields.
func (f *form) fill(dst []byte, s *stream) {
	copy(dst, f.text)
	var w uint64
	for i, at := range f.hex {
		if i%2 == 0 {
			w = s.next()
		}
		binary.LittleEndian.PutUint64(dst[at:], word4(uint32(w)))
		w >>= 32
	}
	for i, at := range f.decimal {
		if i%8 == 0 {
			w = s.next()
		}
		dst[at] = '0' + byte((w&255)*10>>8)
		w >>= 8
	}
}

// fill makes a whole mint: len(dst) is its length. arg is the day of lines, in
// Unix seconds of its local midnight seen as UTC.
func fill(dst []byte, m maker, key uint64, arg int64) {
	switch m {
	case noise:
		fillNoise(dst, key)
	case half:
		fillHalf(dst, key)
	case rows:
		fillRows(dst, key)
	case lines:
		fillLines(dst, key, arg)
	default:
		panic("tour: bytes that were handed over cannot be made again")
	}
}

// fillHalf writes records: a fixed middle between eight random bytes on either
// side. What is left of the last record is random.
func fillHalf(dst []byte, key uint64) {
	const middle = "POLYLINE layer 2"
	const record = 8 + len(middle) + 8
	s := stream{key}
	for len(dst) >= record {
		binary.LittleEndian.PutUint64(dst, s.next())
		copy(dst[8:], middle)
		binary.LittleEndian.PutUint64(dst[8+len(middle):], s.next())
		dst = dst[record:]
	}
	fillNoise(dst, s.state)
}

// fillHex writes random hex digits. The length is a multiple of 16.
func fillHex(dst []byte, s *stream) {
	for len(dst) >= 16 {
		w := s.next()
		binary.LittleEndian.PutUint64(dst, word4(uint32(w)))
		binary.LittleEndian.PutUint64(dst[8:], word4(uint32(w>>32)))
		dst = dst[16:]
	}
}

// word4 spells four random bytes as eight symbols.
func word4(w uint32) uint64 {
	return uint64(hexPair[w&255]) | uint64(hexPair[w>>8&255])<<16 |
		uint64(hexPair[w>>16&255])<<32 | uint64(hexPair[w>>24])<<48
}

func fillRows(dst []byte, key uint64) {
	s := stream{key}
	end := dst[max(0, len(dst)-edgeBytes):]
	for len(dst) >= rowBytes {
		rowForm.fill(dst, &s)
		dst = dst[rowBytes:]
	}
	if len(dst) > 0 {
		var last [rowBytes]byte
		rowForm.fill(last[:], &s)
		copy(dst, last[:])
		fillHex(end, &s) // a row that was cut off ends in fixed text
	}
}

// fillLines spreads whole lines over the working day.
func fillLines(dst []byte, key uint64, day int64) {
	s := stream{key}
	count := int64(len(dst) / lineBytes)
	date := time.Unix(day, 0).UTC().Format("2006-01-02")
	for i := range count {
		line := dst[i*lineBytes:][:lineBytes]
		lineForm.fill(line, &s)
		copy(line, date)
		second := 6*3600 + i*12*3600/count
		two(line[11:], second/3600)
		two(line[14:], second/60%60)
		two(line[17:], second%60)
	}
}

func two(dst []byte, n int64) {
	dst[0], dst[1] = '0'+byte(n/10), '0'+byte(n%10)
}

var words = []string{
	"oak", "ash", "beech", "larch", "stair", "tread", "riser", "window", "frame", "sill", "door", "leaf",
	"hinge", "dowel", "tenon", "mortise", "rail", "stile", "panel", "veneer", "planed", "oiled", "sanded",
	"glued", "fitted", "measured", "delivered", "on", "site", "the", "and", "with", "after", "before", "week",
	"offer", "invoice", "metre", "square", "edge", "left", "right", "upper", "lower", "shelf", "counter",
	"bench", "table", "handrail", "newel", "skirting", "gate", "shutter", "drawer", "runner", "lock",
}

// makeText writes a letter of about n bytes that begins and ends with a
// reference of its own.
func makeText(s *stream, n int64) []byte {
	b := make([]byte, 0, n+64)
	b = append(b, "Oxbow Joinery\r\nReference "...)
	ref := make([]byte, 32)
	fillHex(ref, s)
	b = append(append(b, ref...), "\r\n\r\n"...)
	for int64(len(b)) < n-64 {
		b = append(b, words[s.below(int64(len(words)))]...)
		switch s.below(12) {
		case 0:
			b = append(b, ".\r\n"...)
		case 1:
			b = append(b, ", "...)
		default:
			b = append(b, ' ')
		}
	}
	fillHex(ref, s)
	return append(append(b, "\r\n"...), ref...)
}
