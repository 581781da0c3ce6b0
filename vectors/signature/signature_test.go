package signature_test

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/signature"
)

// remainder divides polynomials over GF(2), bits of big integers, as on paper.
func remainder(dividend, divisor *big.Int) *big.Int {
	rest := new(big.Int).Set(dividend)
	for rest.BitLen() >= divisor.BitLen() {
		rest.Xor(rest, new(big.Int).Lsh(divisor, uint(rest.BitLen()-divisor.BitLen())))
	}
	return rest
}

// x^32 + x^16 + x^9 + x^2 + 1, written out.
func polynomial() *big.Int {
	p := new(big.Int)
	for _, term := range []int{32, 16, 9, 2, 0} {
		p.SetBit(p, term, 1)
	}
	return p
}

// The register's state is a remainder: of the seed shifted by eight for each
// readback, plus each readback shifted by eight for each of those after it.
func TestSignatureIsARemainder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readbacks := rapid.SliceOfN(rapid.Uint32(), 1, 100).Draw(t, "readbacks")
		n := uint(len(readbacks))
		sum := new(big.Int).Lsh(big.NewInt(0xFFFFFFFF), 8*n)
		for i, w := range readbacks {
			sum.Xor(sum, new(big.Int).Lsh(big.NewInt(int64(w)), 8*(n-1-uint(i))))
		}
		want := remainder(sum, polynomial()).Uint64()
		require.Equal(t, []uint32{uint32(want)}, signature.Blocks(readbacks, len(readbacks)))
	})
}

// Blocks are folded each from the seed, the last one shorter.
func TestBlocks(t *testing.T) {
	all := []uint32{1, 2, 3, 4, 5}
	got := signature.Blocks(all, 2)
	require.Equal(t, []uint32{signature.Blocks(all[:2], 9)[0], signature.Blocks(all[2:4], 9)[0], signature.Blocks(all[4:], 9)[0]}, got)
}

// times multiplies two polynomials of degree below 32 modulo the polynomial.
func times(a, b uint64) uint64 {
	product := new(big.Int)
	for i := range 32 {
		if b>>i&1 != 0 {
			product.Xor(product, new(big.Int).Lsh(new(big.Int).SetUint64(a), uint(i)))
		}
	}
	return remainder(product, polynomial()).Uint64()
}

// xTo gives x^e modulo the polynomial by squaring.
func xTo(e uint64) uint64 {
	result, square := uint64(1), uint64(2)
	for ; e > 0; e >>= 1 {
		if e&1 != 0 {
			result = times(result, square)
		}
		square = times(square, square)
	}
	return result
}

// The polynomial is primitive: the order of x is 2^32 - 1 = 3 · 5 · 17 · 257 · 65537
// and no divisor of it (Fermat primes; the test of any textbook on linear shift registers).
func TestPolynomialIsPrimitive(t *testing.T) {
	const order = 1<<32 - 1
	require.EqualValues(t, 1, xTo(order))
	for _, prime := range []uint64{3, 5, 17, 257, 65537} {
		require.NotEqualValues(t, 1, xTo(order/prime), "x^((2^32-1)/%d)", prime)
	}
}

// Primitive polynomials of small degree, from tables of shift-register sequences
// (P. H. Bardell, W. H. McAnney, J. Savir, "Built-In Test for VLSI", 1987, appendix; from memory).
var primitive = map[int]uint32{
	3: 0b011, 4: 0b0011, 5: 0b00101, 7: 0b0000011, 8: 0b00011101, 10: 0b0000001001, 16: 1<<12 | 1<<3 | 1<<1 | 1,
}

// Without input the register passes through 2^k - 1 states.
func TestPeriod(t *testing.T) {
	for degree, p := range primitive {
		r := signature.Register{Degree: degree, Polynomial: p, Shift: 1, State: 1}
		n := 0
		for {
			r.Fold(0)
			n++
			if r.State == 1 {
				break
			}
		}
		require.Equal(t, 1<<degree-1, n, "degree %d", degree)
	}
}

// Errors at random cancel in one of 2^k blocks (Bardell, McAnney, Savir, 1987).
func TestAliasing(t *testing.T) {
	random := rand.New(rand.NewPCG(5012, 883))
	const blocks = 400_000
	for _, degree := range []int{4, 8} {
		masked := 0
		for range blocks {
			r := signature.Register{Degree: degree, Polynomial: primitive[degree], Shift: 1}
			for range 20 { // errors, added to whatever the good readbacks are
				r.Fold(random.Uint32() & (1<<degree - 1))
			}
			if r.State == 0 {
				masked++
			}
		}
		share := float64(masked) / blocks
		expected := 1 / float64(int(1)<<degree)
		require.InEpsilon(t, expected, share, 0.05, "degree %d", degree)
		t.Logf("degree %d: %.5f of blocks with errors keep their signature; 2^-%d is %.5f", degree, share, degree, expected)
	}
}

// One wrong readback always shows, and so do two errors at single pins less than 16
// steps apart, wherever they are: what one fault does to neighbouring outputs in
// neighbouring steps. Told by the remainders of x^i + x^(j+8d), on paper as above.
func TestTwoErrorsShow(t *testing.T) {
	for pin := range 32 {
		for other := range 32 {
			for steps := 1; steps < 16; steps++ {
				errors := make([]uint32, steps+1)
				errors[0], errors[steps] = 1<<pin, 1<<other
				r := signature.Register{Degree: signature.Degree, Polynomial: signature.Polynomial, Shift: signature.Shift}
				for _, e := range errors {
					r.Fold(e)
				}
				if other-pin == 8*steps {
					continue // the one relation that a register of this kind must have
				}
				require.NotZero(t, r.State, "pin bit %d, then %d steps later bit %d", pin, steps, other)
			}
		}
	}
}

// MIL-STD-883 method 5012, penalty values for signature analysis (from memory).
func TestPenalty(t *testing.T) {
	for degree, want := range map[int]float64{4: 1, 7: 1, 8: 0.05, 15: 0.05, 16: 0.01, 23: 0.01, 24: 0, 32: 0} {
		require.Equal(t, want, signature.Penalty(degree))
	}
}
