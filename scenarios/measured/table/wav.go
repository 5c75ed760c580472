package table

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
)

// sound is the samples of a WAV file: a column for each channel, whole numbers as a share
// of full scale. Format: RIFF WAVE, Microsoft and IBM 1991; extensible 2001.
type sound struct {
	file  *os.File
	in    *bufio.Reader
	name  string
	names []string
	rate  float64
	float bool
	bytes int   // of a sample
	left  int64 // bytes of data; -1: to the end of the file
	frame []byte
	row   int64
	flaws Flaws
}

// Codes of WAV formats.
const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xFFFE
)

func newWAV(f *os.File, name string) (Table, error) {
	s := &sound{file: f, in: bufio.NewReaderSize(f, 1<<18), name: name}
	wrong := func(format string, a ...any) (Table, error) { return nil, &Error{name, fmt.Sprintf(format, a...)} }
	var head [12]byte
	if _, err := io.ReadFull(s.in, head[:]); err != nil || string(head[:4]) != "RIFF" || string(head[8:]) != "WAVE" {
		return wrong("no WAV file: it does not begin with RIFF and WAVE")
	}
	known := false
	for {
		var c [8]byte
		if _, err := io.ReadFull(s.in, c[:]); err != nil {
			return wrong("the file ends before its data")
		}
		size := int64(binary.LittleEndian.Uint32(c[4:]))
		if string(c[:4]) == "data" {
			if s.left = size; size == 0 || size == math.MaxUint32 {
				s.left = -1
			}
			break
		}
		skip := size + size%2
		if string(c[:4]) == "fmt " {
			if size < 16 || size > 4096 {
				return wrong("the format chunk has %d bytes", size)
			}
			b := make([]byte, skip)
			if _, err := io.ReadFull(s.in, b); err != nil {
				return wrong("the file ends in its format")
			}
			if err := s.format(b); err != nil {
				return nil, err
			}
			known, skip = true, 0
		}
		if _, err := io.CopyN(io.Discard, s.in, skip); err != nil {
			return wrong("the file ends before its data")
		}
	}
	if !known {
		return wrong("data before a format")
	}
	return s, nil
}

// format reads the format chunk.
func (s *sound) format(b []byte) error {
	code, channels := int(binary.LittleEndian.Uint16(b)), int(binary.LittleEndian.Uint16(b[2:]))
	bits := int(binary.LittleEndian.Uint16(b[14:]))
	s.rate = float64(binary.LittleEndian.Uint32(b[4:]))
	if code == wavExtensible && len(b) >= 26 {
		code = int(binary.LittleEndian.Uint16(b[24:]))
	}
	s.float, s.bytes = code == wavFloat, bits/8
	switch {
	case channels < 1 || channels > 256:
		return &Error{s.name, fmt.Sprintf("%d channels, 1 to 256 are possible", channels)}
	case !(s.rate > 0):
		return &Error{s.name, "a rate of 0 samples a second"}
	case code == wavPCM && (bits == 8 || bits == 16 || bits == 24 || bits == 32), code == wavFloat && (bits == 32 || bits == 64):
	default:
		return &Error{s.name, fmt.Sprintf("format %d of %d bits; PCM (1) of 8, 16, 24, 32 and float (3) of 32, 64 are read", code, bits)}
	}
	s.names = numbered(channels)
	s.frame = make([]byte, channels*s.bytes)
	return nil
}

func (s *sound) Columns() []string { return s.names }
func (s *sound) Named() bool       { return false }
func (s *sound) Rate() float64     { return s.rate }
func (s *sound) Row() int64        { return s.row }
func (s *sound) Flaws() Flaws      { return s.flaws }
func (s *sound) Close() error      { return s.file.Close() }
func (s *sound) Place(row int64) string {
	return fmt.Sprintf("%s, sample %d (%.5f s)", s.name, row, float64(row)/s.rate)
}

func (s *sound) Read(dst [][]float64) (int, error) {
	n := 0
	for ; n < len(dst[0]); n++ {
		if s.left >= 0 && s.left < int64(len(s.frame)) {
			break
		}
		if k, err := io.ReadFull(s.in, s.frame); err != nil {
			if err != io.EOF && err != io.ErrUnexpectedEOF {
				return n, fmt.Errorf("%s: %w", s.Place(s.row), err)
			}
			if s.left >= 0 || k > 0 {
				s.flaws.add(s.row, s.Place(s.row), "the file ends before its data does")
			}
			s.left = 0
			break
		}
		if s.left > 0 {
			s.left -= int64(len(s.frame))
		}
		for c := range dst {
			v := s.sample(s.frame[c*s.bytes:])
			if math.IsNaN(v) || math.IsInf(v, 0) {
				s.flaws.add(s.row, s.Place(s.row), fmt.Sprintf("channel %d: %v", c+1, v))
				v = math.NaN()
			}
			dst[c][n] = v
		}
		s.row++
	}
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func (s *sound) sample(b []byte) float64 {
	switch {
	case s.float && s.bytes == 4:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	case s.float:
		return math.Float64frombits(binary.LittleEndian.Uint64(b))
	case s.bytes == 1:
		return (float64(b[0]) - 128) / 128
	case s.bytes == 2:
		return float64(int16(binary.LittleEndian.Uint16(b))) / (1 << 15)
	case s.bytes == 3:
		return float64(int32(b[0])<<8|int32(b[1])<<16|int32(b[2])<<24) / (1 << 31)
	}
	return float64(int32(binary.LittleEndian.Uint32(b))) / (1 << 31)
}
