package tour

// Size of the example.
type Size int

const (
	Full  Size = iota // about 1 GB
	Small             // 15 to 20 MB, for tests
)

func (s Size) String() string {
	if s == Small {
		return "small"
	}
	return "full"
}

// scale holds the counts and sizes (bytes) of one Size.
type scale struct {
	letters       int
	letterText    sizes // before compression
	letterPicture sizes
	letterhead    int64
	lettersADay   int
	lettersMonth  int // rewritten at month-end

	drawings     int
	drawing      sizes
	drawingsADay int
	drawingEdit  int64

	pages      int // of the ledger
	pagesADay  int
	pagesMonth int

	dumpBlocks     int
	dumpBlocksADay int
	dumpMonth      int
	dumpGrowth     int // blocks put in on a working day

	logStart, logADay int64 // lines

	pictures      int // in each of the sites
	picture       sizes
	picturesADay  int
	imported      int
	importedTwice int

	oldFiles int // in each of the years
	oldFile  sizes

	imageExtents int // each followed by a hole
	imageExtent  int64
	imageHole    int64
	imageWrites  int // a night
	imageGrowth  int64

	thumbnails int
	thumbnail  sizes

	lists    int
	listRows sizes

	container       int // stretches of containerStretch bytes
	containerWrites int

	notes     int
	note      sizes
	notesADay int

	monthFiles int
	monthFile  sizes

	annexPrices   int
	annexPrice    sizes
	annexPictures int // copies of the workshop's
	annexOwn      int
	annexLines    int64 // lines
}

const (
	pageBytes        = 8 << 10
	dumpBlockBytes   = 48 * rowBytes
	imageWriteBytes  = 4 << 10
	containerStretch = 512 << 10
	containerWrite   = 16 << 10
)

var scales = map[Size]scale{
	Full: {
		letters: 160, letterText: sizes{60e3, 120e3}, letterPicture: sizes{60e3, 160e3}, letterhead: 240e3,
		lettersADay: 8, lettersMonth: 60,
		drawings: 96, drawing: sizes{500e3, 780e3}, drawingsADay: 6, drawingEdit: 12_000,
		pages: 8192, pagesADay: 120, pagesMonth: 1000,
		dumpBlocks: 3600, dumpBlocksADay: 40, dumpMonth: 400, dumpGrowth: 4,
		logStart: 200_000, logADay: 10_000,
		pictures: 16, picture: sizes{1600e3, 2400e3}, picturesADay: 2, imported: 15, importedTwice: 9,
		oldFiles: 50, oldFile: sizes{400e3, 930e3},
		imageExtents: 16, imageExtent: 8 << 20, imageHole: 8 << 20, imageWrites: 200, imageGrowth: 256 << 10,
		thumbnails: 200, thumbnail: sizes{8e3, 16e3},
		lists: 120, listRows: sizes{300, 500},
		container: 160, containerWrites: 40,
		notes: 80, note: sizes{60e3, 140e3}, notesADay: 3,
		monthFiles: 12, monthFile: sizes{1200e3, 2400e3},
		annexPrices: 12, annexPrice: sizes{400e3, 900e3}, annexPictures: 6, annexOwn: 9, annexLines: 5000,
	},
	Small: {
		letters: 24, letterText: sizes{16e3, 30e3}, letterPicture: sizes{16e3, 30e3}, letterhead: 8e3,
		lettersADay: 3, lettersMonth: 10,
		drawings: 14, drawing: sizes{90e3, 150e3}, drawingsADay: 2, drawingEdit: 6_000,
		pages: 192, pagesADay: 5, pagesMonth: 40,
		dumpBlocks: 120, dumpBlocksADay: 3, dumpMonth: 15, dumpGrowth: 1,
		logStart: 2500, logADay: 200,
		pictures: 5, picture: sizes{40e3, 70e3}, picturesADay: 1, imported: 5, importedTwice: 3,
		oldFiles: 5, oldFile: sizes{30e3, 80e3},
		imageExtents: 2, imageExtent: 1 << 20, imageHole: 3 << 19, imageWrites: 4, imageGrowth: 64 << 10,
		thumbnails: 24, thumbnail: sizes{2e3, 6e3},
		lists: 14, listRows: sizes{60, 160},
		container: 3, containerWrites: 3,
		notes: 10, note: sizes{15e3, 35e3}, notesADay: 1,
		monthFiles: 3, monthFile: sizes{60e3, 120e3},
		annexPrices: 3, annexPrice: sizes{30e3, 60e3}, annexPictures: 2, annexOwn: 2, annexLines: 150,
	},
}
