package tour

import "fmt"

// Labels of the roots, which are also their folders' names.
const (
	Main  = "workshop"
	Annex = "annex"
)

// Folders and files of the share, each with one habit of change.
const (
	letters    = Main + "/letters"
	drawings   = Main + "/drawings"
	ledgerFile = Main + "/ledger/books.db"
	dumpPlain  = Main + "/dumps/books.sql"
	dumpPacked = Main + "/dumps/books.sql.gz"
	kilnLog    = Main + "/logs/kiln.log"
	kilnOld    = Main + "/logs/kiln.log.1"
	kilnPacked = Main + "/logs/kiln.log.1.gz"
	pictures   = Main + "/site-pictures"
	oldWork    = Main + "/old-work"
	imageFile  = Main + "/machines/saw-controller.img"
	thumbnails = Main + "/thumbnails"
	listsOpen  = Main + "/cutting-lists/open" // before "saw" in order: its names are the first
	listsSaw   = Main + "/cutting-lists/saw"
	// Container is the encrypted one, whose time of change is put back once.
	Container = Main + "/vault/tender.box"
	notes     = Main + "/delivery-notes"
	monthEnd  = Main + "/month-end"

	annexPrices   = Annex + "/price-lists"
	annexPictures = Annex + "/showroom"
	annexLog      = Annex + "/climate.log"
)

const (
	siteRenamed = "harbour-hall"
	siteNow     = "weir-house" // where new pictures go
)

var (
	sites = []string{"chapel-lane", siteRenamed, "mill-cottage", "old-dairy", siteNow}
	years = []int{2019, 2020, 2021, 2022, 2023, 2024}
)

// yearsShifted and later lie on the drive that keeps local time.
const yearsShifted = 2022

// times gives the moments at which the files of one habit were written: even
// whole seconds, which every file system keeps.
type times struct {
	*stream
	night int
}

// work is a moment of the working day.
func (t times) work() int64 { return local(t.night, 7, 0).Unix() + 2*t.below(5*3600) }

// late is a moment of the hours before the scan, when the machines write.
func (t times) late() int64 { return local(t.night, 23, 0).Unix() + 2*t.below(3600) }

// ago is a moment up to so many days before the scenario.
func (t times) ago(days int64) int64 { return local(0, 12, 0).Unix() - 2*t.below(days*43200) }

// habit starts the choices of one folder on one night.
func (w *Workshop) habit(name string, night int) times {
	return times{&stream{derive(w.o.Seed, name, night)}, night}
}

// baseline lays the main share out.
func (w *Workshop) baseline() {
	w.layLetters()
	w.layDrawings()
	w.layLedger()
	w.layDump()
	w.layLog()
	w.layPictures()
	w.layOldWork()
	w.layImage()
	w.layThumbnails()
	w.layContainer()
	w.layNotes()
	w.layLists() // last: links need their files
}

func (w *Workshop) layLetters() {
	t := w.habit(letters, 0)
	w.letterhead = w.mint(noise, 0, w.s.letterhead).mint
	for range w.s.letters {
		w.newLetter(t, t.ago(400))
	}
}

// newLetter writes a letter: text that is compressed inside the file, the
// picture of the letterhead that all share, and one of its own.
func (w *Workshop) newLetter(t times, mtime int64) {
	name := fmt.Sprintf("%s/letter-%04d.odx", letters, len(w.letterNames)+1)
	w.letterNames = append(w.letterNames, name)
	w.letterPictures = append(w.letterPictures, w.mint(noise, 0, t.between(w.s.letterPicture)).mint)
	bytes, spans := w.letter(t, len(w.letterNames)-1)
	w.createBytes(name, mtime, bytes, spans...)
}

func (w *Workshop) letter(t times, i int) ([]byte, []span) {
	picture := w.letterPictures[i]
	return w.zipped([]member{
		{name: "text.xml", plain: makeText(t.stream, t.between(w.s.letterText)), deflate: true},
		{name: "letterhead.jpg", plain: w.make(w.letterhead), mint: w.letterhead},
		{name: "picture.jpg", plain: w.make(picture), mint: picture},
	})
}

func (w *Workshop) layDrawings() {
	t := w.habit(drawings, 0)
	for i := range w.s.drawings {
		name := fmt.Sprintf("%s/%s-%03d.dwx", drawings, []string{"door", "stair", "window"}[i%3], i+1)
		w.create(name, t.ago(500), w.mint(half, 0, t.between(w.s.drawing)))
	}
}

func (w *Workshop) layLedger() {
	t := w.habit(ledgerFile, 0)
	spans := make([]span, w.s.pages)
	for i := range spans {
		spans[i] = w.mint(rows, 0, pageBytes)
	}
	w.create(ledgerFile, t.ago(2), spans...)
}

func (w *Workshop) layDump() {
	t := w.habit(dumpPlain, 0)
	w.dump = make([]span, 1+w.s.dumpBlocks)
	for i := range w.dump {
		w.dump[i] = w.mint(rows, 0, dumpBlockBytes)
	}
	mtime := t.late()
	plain := w.bytesOf(w.dump)
	w.createBytes(dumpPlain, mtime, plain, w.dump...)
	packed := gzipped(plain)
	w.createBytes(dumpPacked, mtime, packed, w.mint(raw, 0, int64(len(packed))))
}

// bytesOf makes the bytes of whole mints again.
func (w *Workshop) bytesOf(spans []span) []byte {
	var n int64
	for _, s := range spans {
		n += s.n
	}
	out := make([]byte, n)
	at := out
	for _, p := range w.pieces(spans) {
		fill(at[:p.n], p.maker, p.key, p.arg)
		at = at[p.n:]
	}
	return out
}

func (w *Workshop) layLog() {
	day := date(-1).Unix()
	w.create(kilnLog, local(-1, 18, 0).Unix(), w.mint(lines, day, w.s.logStart*lineBytes))
}

func (w *Workshop) layPictures() {
	t := w.habit(pictures, 0)
	for _, site := range sites {
		for range w.s.pictures {
			w.newPicture(t, pictures+"/"+site, t.ago(300))
		}
	}
}

func (w *Workshop) newPicture(t times, folder string, mtime int64) {
	w.pictureCount++
	name := fmt.Sprintf("%s/p%05d.jpg", folder, w.pictureCount)
	w.create(name, mtime, w.mint(noise, 0, t.between(w.s.picture)))
}

func (w *Workshop) layOldWork() {
	t := w.habit(oldWork, 0)
	for _, year := range years {
		for i := range w.s.oldFiles {
			kind := []struct {
				ending string
				maker  maker
			}{{"scan", noise}, {"dwx", half}, {"csv", rows}}[i%3]
			name := fmt.Sprintf("%s/%d/job-%03d.%s", oldWork, year, i+1, kind.ending)
			mtime := local(0, 12, 0).AddDate(year-2026, 0, 0).Unix() + 2*t.below(86400*100)
			w.create(name, mtime, w.mint(kind.maker, 0, t.between(w.s.oldFile)))
		}
	}
}

func (w *Workshop) layImage() {
	const stretch = 512 << 10
	t := w.habit(imageFile, 0)
	var spans []span
	for i := range w.s.imageExtents {
		m := half
		if i%3 == 2 {
			m = noise
		}
		for n := int64(0); n < w.s.imageExtent; n += stretch {
			spans = append(spans, w.mint(m, 0, stretch))
		}
		spans = append(spans, zeroSpan(w.s.imageHole))
	}
	w.add(imageFile, newContent(spans), t.late())
	pieces := w.pieces(spans)
	pieces[len(pieces)-1].dense = true // the last zeros are written, the others left out
	w.disk.create(imageFile, w.files[imageFile].mtime, putPieces(pieces))
}

func (w *Workshop) layThumbnails() {
	t := w.habit(thumbnails, 0)
	for i := range w.s.thumbnails {
		w.create(thumbnailName(i), t.late(), w.mint(noise, 0, t.between(w.s.thumbnail)))
	}
}

func thumbnailName(i int) string { return fmt.Sprintf("%s/sheet-%03d.jpg", thumbnails, i+1) }

func (w *Workshop) layContainer() {
	t := w.habit(Container, 0)
	spans := make([]span, w.s.container)
	for i := range spans {
		spans[i] = w.mint(noise, 0, containerStretch)
	}
	w.create(Container, t.ago(5), spans...)
}

func (w *Workshop) layNotes() {
	t := w.habit(notes, 0)
	for range w.s.notes {
		w.newNote(t, t.ago(200))
	}
}

func (w *Workshop) newNote(t times, mtime int64) {
	w.noteCount++
	name := fmt.Sprintf("%s/note-%04d.pdx", notes, w.noteCount)
	w.create(name, mtime, w.mint(noise, 0, t.between(w.s.note)))
}

func (w *Workshop) layLists() {
	t := w.habit(listsOpen, 0)
	w.folder(listsSaw)
	for range w.s.lists {
		w.newList(t, t.ago(60))
	}
	w.disk.wait.Wait()
	w.releaseLists()
}

func (w *Workshop) newList(t times, mtime int64) {
	w.listCount++
	name := fmt.Sprintf("%s/list-%04d.csv", listsOpen, w.listCount)
	w.create(name, mtime, w.mint(rows, 0, t.between(w.s.listRows)*rowBytes))
	w.listsNew = append(w.listsNew, name)
}

// releaseLists links the lists written so far to the saw's folder.
func (w *Workshop) releaseLists() {
	for _, name := range w.listsNew {
		w.link(name, listsSaw+name[len(listsOpen):])
		w.listsOut = append(w.listsOut, name)
	}
	w.listsNew = nil
}

// layAnnex lays the second share out.
func (w *Workshop) layAnnex(night int) {
	t := w.habit(Annex, night)
	for i := range w.s.annexPrices {
		w.create(annexPriceName(i), t.ago(100), w.mint(rows, 0, t.between(w.s.annexPrice)))
	}
	kept := w.under(pictures + "/old-dairy")
	for i, k := range t.distinct(len(kept), w.s.annexPictures) {
		name := fmt.Sprintf("%s/show-%02d.jpg", annexPictures, i+1)
		w.create(name, t.ago(100), w.files[kept[k]].content.spans...)
	}
	for i := range w.s.annexOwn {
		name := fmt.Sprintf("%s/stand-%02d.jpg", annexPictures, i+1)
		w.create(name, t.ago(100), w.mint(noise, 0, t.between(w.s.picture)))
	}
	w.create(annexLog, t.work(), w.mint(lines, date(night).Unix(), w.s.annexLines*lineBytes))
}

func annexPriceName(i int) string { return fmt.Sprintf("%s/prices-%02d.csv", annexPrices, i+1) }
