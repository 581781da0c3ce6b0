package marking

import (
	"fmt"
	"regexp"
)

// Forms of a word that is neither a part of the library nor a date code.
var (
	plainDate = regexp.MustCompile(`^[0-9]{3,4}$`)
	slashed   = regexp.MustCompile(`^[0-9]{1,2}/[0-9]{2}$`)
	monthWord = regexp.MustCompile(`^([0-9]{2,4})?(JAN|FEB|MAR|APR|MAY|JUN|JUL|AUG|SEP|OCT|NOV|DEC)([0-9]{2,4})?$`)
	oneLetter = regexp.MustCompile(`^([0-9]{1,2}[A-Z]|[A-Z][0-9]{1,2})$`)
	lettered  = regexp.MustCompile(`^[A-Z]{1,5}[0-9]{3,6}[A-Z0-9]*$|^[0-9]{3,6}[A-Z][A-Z0-9]*$`)
)

// unread says why a word was not read; nothing of words that say neither part nor
// date, such as a country.
func unread(word string) string {
	const form = "give the week as YYWW or YWW, such as 7938"
	switch {
	case slashed.MatchString(word):
		return fmt.Sprintf("%s is not understood as a date code: makers put week and year, or month and year, in either order; %s", word, form)
	case monthWord.MatchString(word):
		return fmt.Sprintf("%s is not understood as a date code: it names a month and no week; %s", word, form)
	case oneLetter.MatchString(word):
		return fmt.Sprintf("%s is not understood: if it is a date code with a letter for the month or the year, the maker's key is needed", word)
	case lettered.MatchString(word):
		return fmt.Sprintf("%s looks like a part number, and no part of this library has it", word)
	}
	return ""
}
