package dataset

import (
	"archive/zip"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// writeNPZ writes arrays as NumPy does: format 1.0 of .npy in a zip without
// compression. Source: NumPy Enhancement Proposal 1.
//
// Labels are (cycles,) of float64, int64 or bool; channels of fixed count
// (cycles, count) of float32; others NAME of all cycles one after another and
// NAME_offsets (cycles+1,) of int64: cycle k is NAME[NAME_offsets[k]:NAME_offsets[k+1]].
func writeNPZ(j *job, f *file) error {
	h := j.held
	z := zip.NewWriter(f)
	var b []byte
	array := func(name, kind, shape string) (io.Writer, error) {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name + ".npy", Method: zip.Store,
			Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)}) // the earliest that zip holds
		if err != nil {
			return nil, err
		}
		text := fmt.Sprintf("{'descr': '%s', 'fortran_order': False, 'shape': (%s), }", kind, shape)
		const before = 10 // magic, version, length
		pad := 64 - (before+len(text)+1)%64
		text += strings.Repeat(" ", pad%64) + "\n"
		head := binary.LittleEndian.AppendUint16([]byte("\x93NUMPY\x01\x00"), uint16(len(text)))
		_, err = w.Write(append(head, text...))
		return w, err
	}
	for i, c := range h.schema.labels {
		kind := "<f8"
		b = b[:0]
		switch c.Kind {
		case Whole:
			kind = "<i8"
		case Flag:
			kind = "|b1"
		}
		w, err := array(c.Name, kind, fmt.Sprintf("%d,", h.cycles))
		if err != nil {
			return err
		}
		if _, err := w.Write(appendLabels(b, c.Kind, h.labels[i])); err != nil {
			return err
		}
	}
	for i, c := range h.schema.channels {
		shape := fmt.Sprintf("%d,", len(h.samples[i]))
		if c.Count > 0 {
			shape = fmt.Sprintf("%d, %d", h.cycles, c.Count)
		}
		w, err := array(c.Name, "<f4", shape)
		if err != nil {
			return err
		}
		if err := writeSamples(w, h.samples[i]); err != nil {
			return err
		}
		if c.Count > 0 {
			continue
		}
		if w, err = array(c.Name+"_offsets", "<i8", fmt.Sprintf("%d,", h.cycles+1)); err != nil {
			return err
		}
		if _, err := w.Write(appendInts(b[:0], h.offsets[i])); err != nil {
			return err
		}
	}
	return z.Close()
}

// appendLabels appends labels in little-endian bytes: 8 each, a Flag 1.
func appendLabels(b []byte, k Kind, labels []float64) []byte {
	for _, v := range labels {
		switch k {
		case Whole:
			b = binary.LittleEndian.AppendUint64(b, uint64(int64(v)))
		case Flag:
			b = append(b, byte(v))
		default:
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
	}
	return b
}

// appendInts appends integers in little-endian bytes.
func appendInts(b []byte, ints []int64) []byte {
	for _, v := range ints {
		b = binary.LittleEndian.AppendUint64(b, uint64(v))
	}
	return b
}

// block is how many samples are turned to bytes at once.
const block = 4096

// writeSamples writes samples in little-endian bytes.
func writeSamples(w io.Writer, samples []float32) error {
	var bytes [4 * block]byte
	for len(samples) > 0 {
		n := min(block, len(samples))
		for i, v := range samples[:n] {
			binary.LittleEndian.PutUint32(bytes[4*i:], math.Float32bits(v))
		}
		if _, err := w.Write(bytes[:4*n]); err != nil {
			return err
		}
		samples = samples[n:]
	}
	return nil
}
