package scan

import "errors"

// mostBytes bounds the sizes of all files added up: 8 PiB, up to which every
// reader of JSON has whole numbers. Whoever may write into a root can make a few
// sparse files whose sizes, added up, are more than 64 bits hold; here the sums
// of a thousand nights stay far from that.
const mostBytes = 1 << 53

const whyTooLarge = "with it the sizes of all files add up to more than 8 PiB, beyond what is counted"

var errTooLarge = errors.New("larger than 8 PiB, beyond what is counted")

// fits says whether a file of size more bytes can be added to a sum of sizes.
func fits(sum, size int64) bool { return size >= 0 && size <= mostBytes-sum }
