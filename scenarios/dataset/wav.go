package dataset

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// wave is the channels that share a WAV file: as many samples of each in a cycle.
type wave struct {
	stem     string // of the file
	column   string // of the labels: first sample of the cycle
	channels []int
}

// newWaves puts evenly spaced channels of the same count together.
func newWaves(s *schema) (all []wave, err error) {
	var counts []int
	for i, c := range s.channels {
		if c.Uneven {
			continue
		}
		k := 0
		for k < len(counts) && counts[k] != c.Count {
			k++
		}
		if k == len(counts) {
			counts, all = append(counts, c.Count), append(all, wave{stem: "cycles", column: "first_sample"})
		}
		all[k].channels = append(all[k].channels, i)
	}
	if len(all) == 0 {
		return nil, errors.New("dataset: wav: no channel is evenly spaced, want one or more")
	}
	for k := range all {
		if len(all) > 1 {
			name := "varying"
			if counts[k] > 0 {
				name = fmt.Sprint(counts[k])
			}
			all[k].stem, all[k].column = "cycles-"+name, "first_sample_"+name
		}
		if 4*len(all[k].channels) > math.MaxUint16 {
			return nil, fmt.Errorf("dataset: wav: %d channels, want at most %d", len(all[k].channels), math.MaxUint16/4)
		}
	}
	return all, nil
}

func (v *wave) output() output {
	return output{stem: v.stem, extension: "wav", format: "wav", media: "audio/vnd.wave",
		about: "channels as float32 over their full scale, cycle after cycle without a gap",
		open: func(j *job, f *file) (encoder, error) {
			e := &waveFile{file: f, wave: v}
			for _, c := range v.channels {
				e.names, e.scale = append(e.names, j.schema.channels[c].Name), append(e.scale, j.schema.channels[c].full())
			}
			return e, e.head(uint32(j.Rate))
		}}
}

// full is the value that is 1 in a WAV file [Unit].
func (c *Column) full() float32 {
	if c.Full > 0 {
		return float32(c.Full)
	}
	return 1
}

// waveFile writes a WAVE_FORMAT_EXTENSIBLE file of float32 without speaker
// positions. Source: Multiple channel audio data and WAVE files, Microsoft 2001
// (from memory).
type waveFile struct {
	file   *file
	wave   *wave
	names  []string
	scale  []float32
	frames int64
	bytes  []byte
}

// waveHead is the bytes before the first sample.
const waveHead = 12 + 8 + 40 + 8 + 4 + 8

func (e *waveFile) head(rate uint32) error {
	le := binary.LittleEndian
	n := uint16(len(e.scale))
	b := append([]byte("RIFF\x00\x00\x00\x00WAVE"), "fmt "...)
	b = le.AppendUint32(b, 40)
	b = le.AppendUint16(b, 0xfffe) // extensible
	b = le.AppendUint16(b, n)
	b = le.AppendUint32(b, rate)
	b = le.AppendUint32(b, rate*uint32(n)*4)
	b = le.AppendUint16(b, 4*n)
	b = le.AppendUint16(b, 32) // bits of a sample
	b = le.AppendUint16(b, 22) // bytes that follow
	b = le.AppendUint16(b, 32) // bits that count
	b = le.AppendUint32(b, 0)  // no speaker
	b = le.AppendUint16(b, 3)  // float
	b = append(b, "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"...)
	b = append(b, "fact\x04\x00\x00\x00\x00\x00\x00\x00data\x00\x00\x00\x00"...)
	_, err := e.file.Write(b)
	return err
}

func (e *waveFile) row(r *Row) error {
	n := len(r.Channels[e.wave.channels[0]])
	for i, c := range e.wave.channels {
		if len(r.Channels[c]) != n {
			return fmt.Errorf("dataset: wav: cycle %g: %s has %d samples and %s %d, want as many",
				r.Labels[0], e.names[i], len(r.Channels[c]), e.names[0], n)
		}
	}
	b := e.bytes[:0]
	for k := range n {
		for i, c := range e.wave.channels {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(r.Channels[c][k]/e.scale[i]))
		}
	}
	e.bytes = b
	e.frames += int64(n)
	if e.file.size+int64(len(b)) > math.MaxUint32 {
		return tooLarge(e.file)
	}
	_, err := e.file.Write(b)
	return err
}

func (e *waveFile) close() error {
	le := binary.LittleEndian
	for _, p := range []struct{ at, value int64 }{
		{4, e.file.size - 8}, {waveHead - 12, e.frames}, {waveHead - 4, e.file.size - waveHead},
	} {
		if err := e.file.patch(le.AppendUint32(nil, uint32(p.value)), p.at); err != nil {
			return err
		}
	}
	return nil
}
