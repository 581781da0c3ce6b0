package part

import (
	"fmt"
	"strconv"
	"strings"
)

// expandRange counts from one name to another that differs in one number:
// 1A..4A, Q3..Q0, /Y0../Y9.
func expandRange(text string) ([]string, error) {
	first, last, _ := strings.Cut(text, "..")
	prefix := 0
	for prefix < len(first) && prefix < len(last) && first[prefix] == last[prefix] {
		prefix++
	}
	for prefix > 0 && isDigit(first[prefix-1]) { // D10..D12 differs in 10 and 12, not in 0 and 2
		prefix--
	}
	from, restFirst := leadingDigits(first[prefix:])
	to, restLast := leadingDigits(last[prefix:])
	if from == "" || to == "" || restFirst != restLast {
		return nil, fmt.Errorf("%s is not a range: the two names must differ in one number, as in 1A..4A", text)
	}
	a, errA := strconv.Atoi(from)
	b, errB := strconv.Atoi(to)
	if errA != nil || errB != nil || max(a-b, b-a) >= MaxWidth {
		return nil, fmt.Errorf("the range %s has more than %d names", text, MaxWidth)
	}
	step := 1
	if a > b {
		step = -1
	}
	var names []string
	for n := a; ; n += step {
		names = append(names, first[:prefix]+strconv.Itoa(n)+restFirst)
		if n == b {
			return names, nil
		}
	}
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

func leadingDigits(s string) (digits, rest string) {
	n := 0
	for n < len(s) && isDigit(s[n]) {
		n++
	}
	return s[:n], s[n:]
}
