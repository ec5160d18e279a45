package tour

import "strings"

// habitWords tell in plain words, without figures, what becomes of a folder.
var habitWords = map[string]string{
	Main + "/letters":        "rewritten on working days, the pictures in them as before",
	Main + "/drawings":       "edited in place on working days",
	Main + "/ledger":         "a database: scattered pages on working days, put into another order on Sundays",
	Main + "/dumps":          "the ledger's dump, written anew every night, plain and compressed",
	Main + "/logs":           "grows every night; renamed once, then compressed",
	Main + "/site-pictures":  "new ones come, the old ones stay",
	Main + "/old-work":       "never changes",
	Main + "/machines":       "a machine's image, sparse: scattered blocks every night",
	Main + "/thumbnails":     "all made anew every night",
	Main + "/cutting-lists":  "each list under two names (hard links)",
	Main + "/vault":          "an encrypted container: scattered writes",
	Main + "/delivery-notes": "new ones on working days",
	Main + "/month-end":      "the month's papers, once",
	annexPrices:              "price lists, one made anew each week",
	annexPictures:            "pictures, some of them the workshop's",
}

// Spare names, as rules of what could be left out, what a reader might do
// without: what is made anew from other files, and a dump that lies compressed
// beside itself.
func Spare() []string {
	return []string{"folder:" + thumbnails, strings.TrimPrefix(dumpPlain, Main+"/")}
}

// Habit tells in plain words, without figures, what becomes of the files in a
// folder ("label/folder"); of an unknown one, that they are its own files.
func Habit(folder string) string {
	folder = strings.TrimSuffix(folder, "/.")
	if w, ok := habitWords[folder]; ok {
		return w
	}
	return "files of its own"
}
