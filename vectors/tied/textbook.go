package tied

import (
	"regexp"
	"slices"
	"strings"
)

// What textbooks and other languages write for the operators of the definitions: + is OR
// and * or a dot is AND, as everywhere in switching algebra. In the definitions they add
// and multiply, which nobody asks of a gate.
var (
	signs = strings.NewReplacer("&&", "&", "||", "|", "+", "|", "*", "&", "·", "&", "∧", "&", "∨", "|", "⊕", "^", "~", "!", "¬", "!", "’", "'", "′", "'")

	wordForm  = regexp.MustCompile(`(?i)\b(AND|OR|XOR|NOT)\b`)
	wordSigns = map[string]string{"AND": "&", "OR": "|", "XOR": "^", "NOT": "!"}

	// otherWords have no sign of their own: where they end is not said without parentheses.
	otherWords = regexp.MustCompile(`(?i)\b(NAND|NOR|XNOR)\b`)
	instead    = map[string]string{"NAND": "!(a & b)", "NOR": "!(a | b)", "XNOR": "!(a ^ b)"}

	comparison = regexp.MustCompile(`[<>-]|[=!]=`)
	dotForm    = regexp.MustCompile(`([\w)'])\s*\.\s*([\w(!/~¬])`)
	assigned   = regexp.MustCompile(`^[^=!<>]*[^=!<> ]\s*=[^=]`)
)

// inDefinitions writes a function as definitions do; why says what to write instead of
// what it does not understand.
func inDefinitions(text string) (plain, why string) {
	if m := otherWords.FindString(text); m != "" {
		return "", "write " + instead[strings.ToUpper(m)] + " for " + strings.ToUpper(m)
	}
	if assigned.MatchString(text) {
		return "", "write what stands behind the = alone; == for inputs that are equal"
	}
	plain = strings.TrimRight(text, "; \t")
	if strings.ContainsAny(plain, "+*") && comparison.MatchString(plain) {
		return "", "+ is OR and * is AND here, which are not compared: write the function with ! & | ^"
	}
	for range 2 { // a.b.c
		plain = dotForm.ReplaceAllString(plain, "$1 & $2")
	}
	plain = signs.Replace(plain)
	plain = wordForm.ReplaceAllStringFunc(plain, func(word string) string { return " " + wordSigns[strings.ToUpper(word)] + " " })
	if plain, why = primes(plain); why != "" {
		return "", why
	}
	return besides(plain), ""
}

// behind and before are a parenthesis with something at its side, which is ANDed.
var (
	behind = regexp.MustCompile(`\)\s*([\w!/(])`)
	before = regexp.MustCompile(`(\w+)\s*\(`)
)

// besides writes the AND of (a + b)(c + d) and a(b + c).
func besides(text string) string {
	text = behind.ReplaceAllString(text, ") & $1")
	return before.ReplaceAllStringFunc(text, func(found string) string {
		if name := strings.TrimRight(found, " ("); !slices.Contains(functions, name) {
			return name + " & ("
		}
		return found
	})
}

// primes writes the NOT that stands behind what it inverts before it: a' is !a, (a & b)' is !(a & b).
func primes(text string) (plain, why string) {
	for {
		at := strings.IndexByte(text, '\'')
		if at < 0 {
			return text, ""
		}
		begin := operand(strings.TrimRight(text[:at], " "))
		if begin < 0 {
			return "", "a ' stands behind a name or a parenthesis: write !a for NOT a"
		}
		text = text[:begin] + "!" + text[begin:at] + " " + text[at+1:]
	}
}

// operand gives where the name or the parenthesis begins that ends a text; -1 for none.
func operand(text string) int {
	at := len(text)
	if strings.HasSuffix(text, ")") {
		for open := 0; at > 0; {
			at--
			switch text[at] {
			case ')':
				open++
			case '(':
				if open--; open == 0 {
					return signed(text, at)
				}
			}
		}
		return -1
	}
	for at > 0 && nameByte(text[at-1]) {
		at--
	}
	if at == len(text) {
		return -1
	}
	return signed(text, at)
}

// signed goes back over the signs before an operand: of !a' both invert.
func signed(text string, at int) int {
	for at > 0 && (text[at-1] == '!' || text[at-1] == '/') {
		at--
	}
	return at
}

func nameByte(b byte) bool {
	return b == '_' || b >= '0' && b <= '9' || b >= 'A' && b <= 'Z' || b >= 'a' && b <= 'z'
}
