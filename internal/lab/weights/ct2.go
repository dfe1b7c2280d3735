package weights

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
)

// Tensor is an array of half-precision numbers, row by row.
type Tensor struct {
	Shape []int    // the length of each dimension, the outermost first
	Data  []uint16 // IEEE 754 binary16
}

func (t Tensor) size() int {
	n := 1
	for _, d := range t.Shape {
		n *= d
	}
	return n
}

// rows returns rows from up to to of a matrix, or the numbers of a vector. The
// data is shared.
func (t Tensor) rows(from, to int) Tensor {
	width := t.size() / t.Shape[0]
	shape := append([]int{to - from}, t.Shape[1:]...)
	return Tensor{shape, t.Data[from*width : to*width]}
}

// finite reports whether every number is one, neither infinite nor not a number.
func (t Tensor) finite() bool {
	const exponent = 0x7c00
	return !slices.ContainsFunc(t.Data, func(h uint16) bool { return h&exponent == exponent })
}

// Model is a CTranslate2 model: its half-precision variables by name.
type Model struct {
	Variables map[string]Tensor
}

// errShort is what reading beyond the end gives.
var errShort = errors.New("cut short")

// cursor reads little-endian numbers from bytes and remembers the first failure.
type cursor struct {
	rest []byte
	err  error
}

func (c *cursor) take(n int) []byte {
	if c.err == nil && (n < 0 || n > len(c.rest)) {
		c.err = errShort
	}
	if c.err != nil {
		return nil
	}
	b := c.rest[:n]
	c.rest = c.rest[n:]
	return b
}

func (c *cursor) u8() int {
	if b := c.take(1); b != nil {
		return int(b[0])
	}
	return 0
}

func (c *cursor) u16() int {
	if b := c.take(2); b != nil {
		return int(binary.LittleEndian.Uint16(b))
	}
	return 0
}

func (c *cursor) u32() int {
	if b := c.take(4); b != nil {
		return int(binary.LittleEndian.Uint32(b))
	}
	return 0
}

// text reads a string: its length, counting a closing NUL, then its bytes.
func (c *cursor) text() string {
	b := c.take(c.u16())
	if len(b) == 0 {
		if c.err == nil {
			c.err = errors.New("a name without its closing NUL")
		}
		return ""
	}
	return string(b[:len(b)-1])
}

// ReadModel reads a CTranslate2 model of binary version 6:
//
//	u32 version, string specification, u32 revision, u32 count, then for each
//	variable: string name, u8 rank, u32 for each dimension, u8 type, u32 bytes, data
//	u32 count, then for each alias: string alias, string variable
//
// Numbers are little-endian. A string is a u16 length that counts a closing NUL,
// then the bytes. Types are 0 f32, 1 i8, 2 i16, 3 i32, 4 f16; only half-precision
// variables are kept, and those of single precision are rounded to it. The result
// shares src's memory for nothing.
func ReadModel(src []byte) (*Model, error) {
	const maxVariables, maxRank = 10000, 4
	c := &cursor{rest: src}
	if v := c.u32(); c.err == nil && v != 6 {
		return nil, fmt.Errorf("version %d, and only version 6 is understood", v)
	}
	if spec := c.text(); c.err == nil && spec != "WhisperSpec" {
		return nil, fmt.Errorf("a model of the kind %q, not WhisperSpec", spec)
	}
	c.u32()
	count := c.u32()
	if c.err == nil && count > maxVariables {
		return nil, fmt.Errorf("%d variables are more than a model has", count)
	}
	m := &Model{Variables: map[string]Tensor{}}
	for range count {
		name := c.text()
		shape := make([]int, 0, maxRank)
		rank := c.u8()
		if c.err == nil && rank > maxRank {
			return nil, fmt.Errorf("variable %q has %d dimensions", name, rank)
		}
		values := 1
		for range rank {
			d := c.u32()
			if c.err == nil && (d < 1 || d > len(src) || values > len(src)/d) {
				return nil, fmt.Errorf("variable %q is larger than the file", name)
			}
			shape = append(shape, d)
			values *= d
		}
		kind := c.u8()
		data := c.take(c.u32())
		if c.err != nil {
			return nil, c.err
		}
		t := Tensor{Shape: shape}
		switch kind {
		case 4:
			if len(data) != 2*values {
				return nil, fmt.Errorf("variable %q has %d bytes for %d numbers", name, len(data), values)
			}
			t.Data = make([]uint16, values)
			for i := range t.Data {
				t.Data[i] = binary.LittleEndian.Uint16(data[2*i:])
			}
		case 0:
			if len(data) != 4*values {
				return nil, fmt.Errorf("variable %q has %d bytes for %d numbers", name, len(data), values)
			}
			t.Data = make([]uint16, values)
			for i := range t.Data {
				t.Data[i] = toHalf(math.Float32frombits(binary.LittleEndian.Uint32(data[4*i:])))
			}
		case 1, 2, 3:
			continue // settings, not weights
		default:
			return nil, fmt.Errorf("variable %q is of unknown type %d", name, kind)
		}
		if _, twice := m.Variables[name]; twice {
			return nil, fmt.Errorf("variable %q is there twice", name)
		}
		m.Variables[name] = t
	}
	for range c.u32() {
		if alias, name := c.text(), c.text(); c.err == nil {
			if t, ok := m.Variables[name]; ok {
				m.Variables[alias] = t
			}
		} else {
			break
		}
	}
	if c.err == nil && len(c.rest) > 0 {
		return nil, fmt.Errorf("%d bytes too many", len(c.rest))
	}
	return m, c.err
}
