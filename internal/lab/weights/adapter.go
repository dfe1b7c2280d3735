package weights

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Layer is the low-rank update of one linear layer: its weight W becomes
// W + B A.
type Layer struct {
	Rank int       // from 1
	A    []float32 // Rank rows, as long as the layer's input
	B    []float32 // a row of Rank for each of the layer's outputs
}

// ReadAdapter reads a safetensors file of tensors named LAYER.lora_A and
// LAYER.lora_B, where LAYER is the name of a linear layer of the CTranslate2
// model.
//
// A safetensors file is a u64 length, a JSON header of that length, and data. The
// header maps each tensor's name to its dtype, shape and place in the data;
// "__metadata__" is no tensor.
func ReadAdapter(src []byte) (map[string]Layer, error) {
	if len(src) < 8 {
		return nil, errShort
	}
	n := binary.LittleEndian.Uint64(src)
	if n > uint64(len(src)-8) {
		return nil, errShort
	}
	header, data := src[8:8+n], src[8+n:]
	var entries map[string]json.RawMessage
	if err := json.Unmarshal(header, &entries); err != nil {
		return nil, fmt.Errorf("header: %w", err)
	}
	type matrix struct {
		rows, columns int
		data          []float32
	}
	parts := map[string]matrix{}
	for name, raw := range entries {
		if name == "__metadata__" {
			continue
		}
		var e struct {
			Type    string `json:"dtype"`
			Shape   []int  `json:"shape"`
			Offsets []int  `json:"data_offsets"`
		}
		if err := json.Unmarshal(raw, &e); err != nil {
			return nil, fmt.Errorf("tensor %q: %w", name, err)
		}
		width := map[string]int{"F16": 2, "F32": 4}[e.Type]
		if width == 0 {
			return nil, fmt.Errorf("tensor %q is of type %q; F16 or F32 is wanted", name, e.Type)
		}
		if len(e.Shape) != 2 || e.Shape[0] < 1 || e.Shape[1] < 1 || e.Shape[0] > len(data)/e.Shape[1] {
			return nil, fmt.Errorf("tensor %q has the shape %v; a matrix is wanted", name, e.Shape)
		}
		size := e.Shape[0] * e.Shape[1]
		if len(e.Offsets) != 2 || e.Offsets[0] < 0 || e.Offsets[1] > len(data) || e.Offsets[1]-e.Offsets[0] != size*width {
			return nil, fmt.Errorf("tensor %q does not lie within the file", name)
		}
		m := matrix{e.Shape[0], e.Shape[1], make([]float32, size)}
		for i := range m.data {
			at := data[e.Offsets[0]+i*width:]
			if width == 2 {
				m.data[i] = fromHalf(binary.LittleEndian.Uint16(at))
			} else {
				m.data[i] = math.Float32frombits(binary.LittleEndian.Uint32(at))
			}
		}
		parts[name] = m
	}
	layers := map[string]Layer{}
	for name, a := range parts {
		layer, isA := strings.CutSuffix(name, ".lora_A")
		if !isA {
			if _, ok := parts[strings.TrimSuffix(name, ".lora_B")+".lora_A"]; !ok || !strings.HasSuffix(name, ".lora_B") {
				return nil, fmt.Errorf("tensor %q has no partner; LAYER.lora_A and LAYER.lora_B are wanted", name)
			}
			continue
		}
		b, ok := parts[layer+".lora_B"]
		if !ok || b.columns != a.rows {
			return nil, fmt.Errorf("layer %q: lora_B is missing or does not fit lora_A", layer)
		}
		layers[layer] = Layer{Rank: a.rows, A: a.data, B: b.data}
	}
	if len(layers) == 0 {
		return nil, fmt.Errorf("no layers in it")
	}
	return layers, nil
}

// Merge adds the updates to the weights of their layers, in single precision,
// and rounds the sums to half. On an error the model is not changed.
func (m *Model) Merge(layers map[string]Layer) error {
	for name, l := range layers {
		w, ok := m.Variables[name+"/weight"]
		if !ok {
			return fmt.Errorf("there is no layer %q", name)
		}
		if len(w.Shape) != 2 || len(l.B) != w.Shape[0]*l.Rank || len(l.A) != l.Rank*w.Shape[1] {
			return fmt.Errorf("layer %q has the shape %v, which the update does not fit", name, w.Shape)
		}
	}
	for name, l := range layers {
		w := m.Variables[name+"/weight"]
		merged := slices.Clone(w.Data)
		columns := w.Shape[1]
		sum := make([]float32, columns)
		for row := range w.Shape[0] {
			clear(sum)
			for k := range l.Rank {
				b := l.B[row*l.Rank+k]
				for j, a := range l.A[k*columns : (k+1)*columns] {
					sum[j] += b * a
				}
			}
			for j, s := range sum {
				i := row*columns + j
				merged[i] = toHalf(fromHalf(merged[i]) + s)
			}
		}
		m.Variables[name+"/weight"] = Tensor{w.Shape, merged}
	}
	return nil
}
