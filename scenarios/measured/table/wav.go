package table

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
)

// sound is the samples of a WAV file: a column a channel, PCM as a share of full scale.
// Format: RIFF WAVE, Microsoft and IBM 1991; extensible, Microsoft 2001 (from memory).
type sound struct {
	base
	in     *bufio.Reader
	decode func(b []byte) float64
	wide   int   // bytes of a sample
	frame  int   // bytes of a row
	left   int64 // bytes of data
	known  bool  // left is
	block  []byte
}

// Codes of WAV formats.
const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xFFFE
)

// wavUnknown tells whether writers to a pipe say so of data whose length they do not
// know: nothing, the most that fits, or the 0x7ffff000 of sox.
func wavUnknown(size uint32) bool { return size == 0 || size == math.MaxUint32 || size == 0x7ffff000 }

// soundRows are decoded at once.
const soundRows = 512

func newWAV(f *os.File, name string) (Table, error) {
	s := &sound{base: base{name: name, shut: f.Close}, in: bufio.NewReaderSize(f, 1<<17)}
	at := int64(0)
	wrong := func(what string, a ...any) (Table, error) {
		return nil, &Error{fmt.Sprintf("%s, byte %d", name, at), fmt.Sprintf(what, a...)}
	}
	var head [12]byte
	if _, err := io.ReadFull(s.in, head[:]); err != nil || string(head[:4]) != "RIFF" || string(head[8:]) != "WAVE" {
		return wrong("no WAV file: it begins with %q, want RIFF, its length and WAVE", head[:])
	}
	for at = 12; ; {
		var c [8]byte
		if _, err := io.ReadFull(s.in, c[:]); err != nil {
			return wrong("the file ends before its data")
		}
		kind, size := string(c[:4]), binary.LittleEndian.Uint32(c[4:])
		padded := int64(size) + int64(size%2)
		switch kind {
		case "data":
			if s.wide == 0 {
				return wrong("data before their format")
			}
			s.left, s.known = int64(size), !wavUnknown(size)
			if _, err := s.in.Peek(1); err == io.EOF {
				return wrong("no samples")
			}
			return s, nil
		case "fmt ":
			if size < 16 || size > 4096 {
				return wrong("a format of %d bytes, want 16 to 4096", size)
			}
			b := make([]byte, padded)
			if _, err := io.ReadFull(s.in, b); err != nil {
				return wrong("the file ends in its format")
			}
			if err := s.format(b); err != nil {
				return wrong("%v", err)
			}
		default:
			if _, err := io.CopyN(io.Discard, s.in, padded); err != nil {
				return wrong("the file ends in its chunk %q", kind)
			}
		}
		at += 8 + padded
	}
}

// format reads the format chunk.
func (s *sound) format(b []byte) error {
	le := binary.LittleEndian
	code, channels, bits := int(le.Uint16(b)), int(le.Uint16(b[2:])), int(le.Uint16(b[14:]))
	if code == wavExtensible && len(b) >= 26 {
		code = int(le.Uint16(b[24:]))
	}
	s.decode = samples[[2]int{code, bits}]
	switch s.rate = float64(le.Uint32(b[4:])); {
	case channels < 1 || channels > widest:
		return fmt.Errorf("%d channels, want 1 to %d", channels, widest)
	case !(s.rate > 0):
		return errors.New("0 samples a second, want some")
	case s.decode == nil:
		return fmt.Errorf("format %d of %d bits, want PCM (1) of 8, 16, 24 or 32, or float (3) of 32 or 64", code, bits)
	}
	s.wide, s.names = bits/8, numbered(channels)
	if s.frame = channels * s.wide; int(le.Uint16(b[12:])) != s.frame {
		return fmt.Errorf("frames of %d bytes, want %d for %d channels of %d bits", le.Uint16(b[12:]), s.frame, channels, bits)
	}
	s.block = make([]byte, soundRows*s.frame)
	return nil
}

// samples by code and bits. Bytes of 8 bits have no sign, all others have.
var samples = map[[2]int]func(b []byte) float64{
	{wavPCM, 8}:    func(b []byte) float64 { return (float64(b[0]) - 1<<7) / (1 << 7) },
	{wavPCM, 16}:   func(b []byte) float64 { return float64(int16(binary.LittleEndian.Uint16(b))) / (1 << 15) },
	{wavPCM, 24}:   func(b []byte) float64 { return float64(int32(b[0])<<8|int32(b[1])<<16|int32(b[2])<<24) / (1 << 31) },
	{wavPCM, 32}:   func(b []byte) float64 { return float64(int32(binary.LittleEndian.Uint32(b))) / (1 << 31) },
	{wavFloat, 32}: func(b []byte) float64 { return float64(math.Float32frombits(binary.LittleEndian.Uint32(b))) },
	{wavFloat, 64}: func(b []byte) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b)) },
}

// Place is the sample, 0 the first, and its time from the first.
func (s *sound) Place(row int64) string {
	return fmt.Sprintf("%s, sample %d (%.5f s)", s.name, row, float64(row)/s.rate)
}

func (s *sound) Read(dst [][]float64) (int, error) {
	room := s.room(dst)
	if s.err != nil {
		return 0, s.err
	}
	n := 0
	var err error
	for n < room && err == nil {
		b := s.block[:min(room-n, soundRows)*s.frame]
		if s.known {
			b = b[:min(int64(len(b)), s.left)]
		}
		if len(b) == 0 {
			err = io.EOF
			break
		}
		var k int
		if k, err = io.ReadFull(s.in, b); err == io.ErrUnexpectedEOF && !s.known {
			err = io.EOF
		}
		rows, rest := k/s.frame, k%s.frame
		switch end := s.Place(s.row + int64(n+rows)); {
		case err != nil && (err != io.EOF || s.known):
			err = cutOff(end, err)
		case rest > 0 && (err == io.EOF || s.left == int64(len(b))):
			err = &Error{end, fmt.Sprintf("the data end with %d bytes of a row of %d", rest, s.frame)}
		}
		s.left -= int64(k)
		for c, d := range dst {
			for i := range rows {
				d[n+i] = s.decode(b[i*s.frame+c*s.wide:])
			}
		}
		n += rows
	}
	s.finite(dst, n, nil, s.Place)
	s.row += int64(n)
	return s.hand(n, err)
}
