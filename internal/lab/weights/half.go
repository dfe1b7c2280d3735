package weights

import "math"

// toHalf rounds to the nearest half-precision number, ties to even (IEEE 754
// binary16). What is too large becomes infinite.
func toHalf(f float32) uint16 {
	bits := math.Float32bits(f)
	sign := uint16(bits >> 16 & 0x8000)
	exp := int(bits>>23&0xff) - 127
	frac := bits & 0x7fffff
	switch {
	case exp == 128 && frac != 0:
		return sign | 0x7e00 // not a number
	case exp > 15:
		return sign | 0x7c00
	case exp >= -14:
		// Rounding may carry into the exponent, which is right, up to infinity.
		return sign | round(uint32(exp+15)<<23|frac, 13)
	case exp >= -25:
		return sign | round(frac|0x800000, uint(-exp-14+13)) // subnormal
	}
	return sign
}

// round drops the lowest n bits of x, to nearest, ties to even.
func round(x uint32, n uint) uint16 {
	kept, lost, half := x>>n, x&(1<<n-1), uint32(1)<<(n-1)
	if lost > half || lost == half && kept&1 == 1 {
		kept++
	}
	return uint16(kept)
}

// fromHalf returns the half-precision number, which single precision holds
// exactly.
func fromHalf(h uint16) float32 {
	sign := uint32(h&0x8000) << 16
	exp := uint32(h >> 10 & 0x1f)
	frac := uint32(h & 0x3ff)
	switch {
	case exp == 0x1f:
		return math.Float32frombits(sign | 0x7f800000 | frac<<13)
	case exp != 0:
		return math.Float32frombits(sign | (exp+112)<<23 | frac<<13)
	}
	f := float32(frac) / (1 << 24)
	if sign != 0 {
		return -f
	}
	return f
}
