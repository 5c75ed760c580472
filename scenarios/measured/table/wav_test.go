package table

import (
	"bytes"
	"encoding/binary"
	"math"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wav is a file by hand; size is what its data chunk says of itself.
func wav(code, channels, bits int, size uint32, data []byte, chunks ...string) string {
	le := binary.LittleEndian
	frame := channels * bits / 8
	b := []byte("RIFF\x00\x00\x00\x00WAVE")
	for _, c := range chunks {
		b = append(b, c...)
	}
	b = append(b, "fmt "...)
	long, inner := uint32(16), code
	if code > 0xffff { // extensible
		long, inner, code = 40, code>>16, wavExtensible
	}
	b = le.AppendUint32(b, long)
	b = le.AppendUint16(b, uint16(code))
	b = le.AppendUint16(b, uint16(channels))
	b = le.AppendUint32(b, 48000)
	b = le.AppendUint32(b, uint32(48000*frame))
	b = le.AppendUint16(b, uint16(frame))
	b = le.AppendUint16(b, uint16(bits))
	if long == 40 {
		b = le.AppendUint16(b, 22)
		b = le.AppendUint16(b, uint16(bits))
		b = le.AppendUint32(b, 0)
		b = le.AppendUint16(b, uint16(inner))
		b = append(b, "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"...)
	}
	b = append(b, "data"...)
	return string(append(le.AppendUint32(b, size), data...))
}

// Bytes and values by hand.
func TestWAV(t *testing.T) {
	floats := func(v any) []byte {
		var b bytes.Buffer
		require.NoError(t, binary.Write(&b, binary.LittleEndian, v))
		return b.Bytes()
	}
	for _, tt := range []struct {
		about      string
		code, bits int
		data       []byte
		want       []float64
	}{
		{"8", wavPCM, 8, []byte{0, 64, 128, 255}, []float64{-1, -0.5, 0, 127. / 128}},
		{"16", wavPCM, 16, []byte{0, 0x80, 0, 0x40, 0, 0, 0xff, 0x7f}, []float64{-1, 0.5, 0, 32767. / 32768}},
		{"24", wavPCM, 24, []byte{0, 0, 0x80, 0, 0, 0x40, 0, 0, 0, 1, 0, 0}, []float64{-1, 0.5, 0, 1. / (1 << 23)}},
		{"32", wavPCM, 32, []byte{0, 0, 0, 0x80, 0, 0, 0, 0x40, 0, 0, 0, 0, 1, 0, 0, 0}, []float64{-1, 0.5, 0, 1. / (1 << 31)}},
		{"float 32", wavFloat, 32, floats([]float32{-1, 2.5, 0, 0.1}), []float64{-1, 2.5, 0, float64(float32(0.1))}},
		{"float 64", wavFloat, 64, floats([]float64{-1, 2.5, 0, 0.1}), []float64{-1, 2.5, 0, 0.1}},
	} {
		t.Run(tt.about, func(t *testing.T) {
			for _, code := range []int{tt.code, tt.code<<16 | wavExtensible} {
				for _, chunks := range [][]string{nil, {"odd \x03\x00\x00\x00abc\x00", "even\x02\x00\x00\x00ab"}} {
					tab, got := whole(t, file(t, "rec.wav", wav(code, 2, tt.bits, uint32(len(tt.data)), tt.data, chunks...)+"tail\x01\x00\x00\x00a\x00"), nil)
					assert.Equal(t, []string{"1", "2"}, tab.Columns())
					assert.False(t, tab.Named())
					assert.Equal(t, 48000., tab.Rate())
					assert.True(t, same([][]float64{{tt.want[0], tt.want[2]}, {tt.want[1], tt.want[3]}}, got), "%v", got)
					assert.Zero(t, tab.Flaws())
				}
				for _, size := range []uint32{0, math.MaxUint32, 0x7ffff000} { // of a pipe
					_, got := whole(t, file(t, "rec.wav", wav(code, 1, tt.bits, size, tt.data)), nil)
					assert.True(t, same([][]float64{tt.want}, got), "%v", got)
				}
			}
		})
	}
}

func TestWAVFlaws(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, binary.Write(&b, binary.LittleEndian, []float32{1, 2, float32(nan), float32(math.Inf(-1)), 5, 6}))
	tab, got := whole(t, file(t, "rec.wav", wav(wavFloat, 2, 32, 24, b.Bytes())), nil)
	assert.True(t, same([][]float64{{1, nan, 5}, {2, nan, 6}}, got))
	assert.Equal(t, Flaws{1, []Flaw{{1, "rec.wav, sample 1 (0.00002 s)", "column 1: NaN, and 1 more of the row"}}}, tab.Flaws())
}

func TestWAVRefuses(t *testing.T) {
	data := make([]byte, 40)
	good := wav(wavPCM, 2, 16, 40, data)
	for _, tt := range []struct{ about, content, want string }{
		{"junk", "abc", `rec.wav, byte 0: no WAV file: it begins with "abc\x00\x00\x00\x00\x00\x00\x00\x00\x00", want RIFF, its length and WAVE`},
		{"RIFF only", good[:12], "rec.wav, byte 12: the file ends before its data"},
		{"in the format", good[:25], "rec.wav, byte 12: the file ends in its format"},
		{"header only", good[:44], "rec.wav, byte 36: no samples"},
		{"data first", good[:12] + good[36:], "rec.wav, byte 12: data before their format"},
		{"in a chunk", good[:12] + "long\x00\x00\x00\x70ab", `rec.wav, byte 12: the file ends in its chunk "long"`},
		{"cut off", good[:len(good)-4], "rec.wav, sample 9 (0.00019 s): the file ends before its data do"},
		{"cut off in a row", good[:len(good)-3], "rec.wav, sample 9 (0.00019 s): the file ends before its data do"},
		{"a size that lies", wav(wavPCM, 2, 16, 0xfffffff0, data), "rec.wav, sample 10 (0.00021 s): the file ends before its data do"},
		{"a pipe cut off in a row", wav(wavPCM, 2, 16, 0, data[:39]), "rec.wav, sample 9 (0.00019 s): the data end with 3 bytes of a row of 4"},
		{"part of a row", wav(wavPCM, 2, 16, 39, data), "rec.wav, sample 9 (0.00019 s): the data end with 3 bytes of a row of 4"},
		{"12 bits", wav(wavPCM, 2, 12, 40, data), "rec.wav, byte 12: format 1 of 12 bits, want PCM (1) of 8, 16, 24 or 32, or float (3) of 32 or 64"},
		{"packed", wav(2, 2, 16, 40, data), "rec.wav, byte 12: format 2 of 16 bits, want PCM (1) of 8, 16, 24 or 32, or float (3) of 32 or 64"},
		{"no channel", wav(wavPCM, 0, 16, 40, data), "rec.wav, byte 12: 0 channels, want 1 to 1024"},
		{"many channels", wav(wavPCM, 2000, 16, 40, data), "rec.wav, byte 12: 2000 channels, want 1 to 1024"},
		{"no rate", good[:24] + "\x00\x00\x00\x00" + good[28:], "rec.wav, byte 12: 0 samples a second, want some"},
		{"frames that lie", good[:32] + "\x08" + good[33:], "rec.wav, byte 12: frames of 8 bytes, want 4 for 2 channels of 16 bits"},
		{"a format too short", good[:16] + "\x0e" + good[17:], "rec.wav, byte 12: a format of 14 bytes, want 16 to 4096"},
	} {
		t.Run(tt.about, func(t *testing.T) {
			assert.Equal(t, tt.want, fails(t, file(t, "rec.wav", tt.content), nil))
		})
	}
}

// Whole numbers as the wave module of Python writes them, and as NumPy scales them.
func TestWAVPeerPython(t *testing.T) {
	dir := script(t, `
import wave
r = np.random.default_rng(4)
for wide in (1, 2, 3, 4):
    v = r.integers(-2**(8*wide-1), 2**(8*wide-1), (1000, 3))
    raw = (v + 128).astype('u1').tobytes() if wide == 1 else v.astype('<i4').reshape(-1, 1).view('u1')[:, :wide].tobytes()
    with wave.open('%d.wav' % wide, 'wb') as w:
        w.setnchannels(3); w.setsampwidth(wide); w.setframerate(96000); w.writeframes(raw)
    np.savetxt('%d.csv' % wide, v / 2.0**(8*wide-1), fmt='%.17g', delimiter=',')
`)
	for _, wide := range []string{"1", "2", "3", "4"} {
		tab, got := whole(t, filepath.Join(dir, wide+".wav"), nil)
		_, want := whole(t, filepath.Join(dir, wide+".csv"), nil)
		assert.True(t, same(want, got), "%s bytes", wide)
		assert.Equal(t, 96000., tab.Rate())
	}
}

// Samples that 16 bits hold, as sox turns them into every format, to files and to pipes.
func TestWAVPeerSox(t *testing.T) {
	peer(t, "sox", "--version")
	dir := t.TempDir()
	run := func(command string) {
		cmd := exec.Command("sh", "-c", command)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s: %s", command, out)
	}
	run("sox -V1 -D -n -r 8000 -c 2 -b 16 16.wav synth 0.1 sine 440 vol 0.5")
	_, want := whole(t, filepath.Join(dir, "16.wav"), nil)
	require.Len(t, want[0], 800)
	assert.InDelta(t, 0.5*math.Sin(2*math.Pi*440*100/8000), want[0][100], 2./(1<<15), "two steps of 16 bits")
	for _, form := range []string{"-b 24", "-b 32 -e signed", "-b 32 -e float", "-b 64 -e float"} {
		run("sox -V1 -D 16.wav " + form + " other.wav && sox -V1 -D 16.wav " + form + " -t wav - > pipe.wav")
		for _, name := range []string{"other.wav", "pipe.wav"} {
			tab, got := whole(t, filepath.Join(dir, name), nil)
			assert.True(t, same(want, got), "%s %s", form, name)
			assert.Equal(t, 8000., tab.Rate())
		}
	}
}

func FuzzWAV(f *testing.F) {
	f.Add([]byte(wav(wavPCM, 2, 16, 40, make([]byte, 40))))
	f.Add([]byte(wav(wavPCM<<16|wavExtensible, 1, 24, 0, make([]byte, 40), "odd \x03\x00\x00\x00abc\x00")))
	f.Add([]byte(wav(wavFloat, 3, 64, math.MaxUint32, make([]byte, 240))))
	f.Fuzz(func(t *testing.T, b []byte) { fuzzOpen(t, "rec.wav", b, nil) })
}
