package dataset

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// Types of data elements and classes of arrays of a MAT file of level 5.
const (
	miInt8    = 1
	miUint8   = 2
	miInt32   = 5
	miUint32  = 6
	miSingle  = 7
	miDouble  = 9
	miInt64   = 12
	miMatrix  = 14
	mxDouble  = 6
	mxSingle  = 7
	mxUint8   = 9
	mxInt64   = 14
	mxLogical = 1 << 9 // flag beside the class
)

// writeMAT writes a MAT file of level 5, little-endian: the variables of writeNPZ,
// lists as columns, flags as logical. Source: the published description of the
// level 5 MAT-file format (from memory); elements begin on 8 bytes.
func writeMAT(j *job, f *file) error {
	h := j.held
	head := fmt.Appendf(nil, "%-116s", "MATLAB 5.0 MAT-file, SYNTHETIC data made by a simulator")
	head = append(head[:116], make([]byte, 8)...) // no subsystem data
	head = binary.LittleEndian.AppendUint16(head, 0x0100)
	if _, err := f.Write(append(head, "IM"...)); err != nil {
		return err
	}
	var b []byte
	for i, c := range h.schema.labels {
		kind, class := uint32(miDouble), uint32(mxDouble)
		switch c.Kind {
		case Whole:
			kind, class = miInt64, mxInt64
		case Flag:
			kind, class = miUint8, mxUint8|mxLogical
		}
		b = appendLabels(b[:0], c.Kind, h.labels[i])
		if err := matArray(f, c.Name, kind, class, h.cycles, 1, len(b), writeBytes(b)); err != nil {
			return err
		}
	}
	for i, c := range h.schema.channels {
		rows, columns := len(h.samples[i]), 1
		if c.Count > 0 {
			rows, columns = h.cycles, c.Count
		}
		err := matArray(f, c.Name, miSingle, mxSingle, rows, columns, 4*len(h.samples[i]), func(w io.Writer) error {
			return writeTransposed(w, h.samples[i], columns)
		})
		if err != nil {
			return err
		}
		if c.Count > 0 {
			continue
		}
		b = appendInts(b[:0], h.offsets[i])
		if err := matArray(f, c.Name+"_offsets", miInt64, mxInt64, h.cycles+1, 1, len(b), writeBytes(b)); err != nil {
			return err
		}
	}
	return nil
}

func writeBytes(b []byte) func(io.Writer) error {
	return func(w io.Writer) error { _, err := w.Write(b); return err }
}

// matArray writes one variable, whose data are size bytes.
func matArray(f *file, name string, kind, class uint32, rows, columns, size int, data func(io.Writer) error) error {
	padded := func(n int) int { return (n + 7) &^ 7 }
	whole := 16 + 16 + 8 + padded(len(name)) + 8 + padded(size) // flags, dimensions, name, data
	if whole > math.MaxUint32 || rows > math.MaxInt32 {
		return tooLarge(f)
	}
	le := binary.LittleEndian
	var b []byte
	for _, v := range []uint32{miMatrix, uint32(whole), miUint32, 8, class, 0,
		miInt32, 8, uint32(rows), uint32(columns), miInt8, uint32(len(name))} {
		b = le.AppendUint32(b, v)
	}
	b = append(append(b, name...), make([]byte, padded(len(name))-len(name))...)
	b = le.AppendUint32(le.AppendUint32(b, kind), uint32(size))
	if _, err := f.Write(b); err != nil {
		return err
	}
	if err := data(f); err != nil {
		return err
	}
	_, err := f.Write(make([]byte, padded(size)-size))
	return err
}

// writeTransposed writes rows of so many columns column by column.
func writeTransposed(w io.Writer, samples []float32, columns int) error {
	if columns == 1 {
		return writeSamples(w, samples)
	}
	column := make([]float32, len(samples)/columns)
	for c := range columns {
		for r := range column {
			column[r] = samples[r*columns+c]
		}
		if err := writeSamples(w, column); err != nil {
			return err
		}
	}
	return nil
}
