package page

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/loop"
)

// rows are those of an answer of loop.
func rows(t *testing.T, url string) map[string][]*float64 {
	t.Helper()
	code, _, text := ask(t, "GET", url, "", nil)
	require.Equal(t, 200, code, text)
	var a struct {
		From int
		Rows map[string][]*float64
	}
	require.NoError(t, json.Unmarshal([]byte(text), &a))
	return a.Rows
}

// A run that went on in steps, with the hand and a fault moved meanwhile, is the one
// that is asked for at once, and the one that the scenario file makes; its log is the
// file that the command writes.
func TestLoopIsTheCommands(t *testing.T) {
	at := "http://" + serve(t) + "/api/loop"
	const base = "?engine=pump-set&reader=maximum&guard=1&envelope=0&seed=7"
	first := rows(t, at+base+"&from=0&to=40")
	second := rows(t, at+base+"&hand=40:20&from=40&to=70")
	const moved = base + "&hand=40:20,75:0&faults=plug-noise%3D4@70-90"
	third := rows(t, at+moved+"&from=70&to=120")

	code, _, file := ask(t, "GET", at+".toml"+moved+"&to=120", "", nil)
	require.Equal(t, 200, code, file)
	s, err := loop.Parse("page.toml", []byte(file))
	require.NoError(t, err)
	require.Equal(t, loopCycles, s.Cycles)
	b, err := loop.NewBench(context.Background(), s)
	require.NoError(t, err)
	l, err := b.Start(context.Background(), 7, nil)
	require.NoError(t, err)
	defer l.Close()
	for range 120 {
		_, err := l.Next()
		require.NoError(t, err)
	}
	var log bytes.Buffer
	require.NoError(t, loop.WriteCSV(&log, l.Run(), nil))
	code, head, text := ask(t, "GET", at+".csv"+moved+"&to=120", "", nil)
	require.Equal(t, 200, code)
	require.Contains(t, head.Get("Content-Disposition"), "attachment")
	require.Contains(t, text, "A model is not your engine")
	_, text, ok := strings.Cut(text, "\ncycle,")
	require.True(t, ok)
	require.Equal(t, log.String(), "cycle,"+text)

	source, err := l.Run().Source()
	require.NoError(t, err)
	n := 0
	for row, err := range source.Rows(0, 120) {
		require.NoError(t, err)
		for i, c := range source.Columns() {
			of, k := first, n
			switch {
			case n >= 70:
				of, k = third, n-70
			case n >= 40:
				of, k = second, n-40
			}
			if v := of[c.Name][k]; v != nil {
				require.InEpsilon(t, 1+row.Labels[i], 1+*v, 1e-8, "%s of cycle %d", c.Name, n)
			} else {
				require.NotEqual(t, row.Labels[i], row.Labels[i], "%s of cycle %d is a number", c.Name, n) // NaN
			}
		}
		n++
	}
	require.Equal(t, 20., *second["manual_offset_deg"][5])
	require.Equal(t, 0., *third["manual_offset_deg"][5])
}

// With the guard on the very same cycles come again: what they would give at MBT, of
// which no guard knows, is the same; what fires is not.
func TestLoopGuardSameCycles(t *testing.T) {
	at := "http://" + serve(t) + "/api/loop?reader=maximum&envelope=0&hand=30:35&from=0&to=60"
	off, on := rows(t, at+"&guard=0"), rows(t, at+"&guard=1")
	const twin, fired = "brake_torque_at_mbt_nm", "spark_deg_btdc"
	require.Equal(t, off[twin], on[twin])
	require.NotEqual(t, off[fired], on[fired])
	require.Equal(t, *off[fired][0], *on[fired][0])
}

// What is not allowed is refused.
func TestLoopRefuses(t *testing.T) {
	at := "http://" + serve(t) + "/api/loop"
	for query, want := range map[string]string{
		"?to=1000000000": "to = 1000000000: want 0 to 3000", "?from=10&to=10": "want 11 to 610", "?to=601": "want 1 to 600",
		"?to=5&law=knock-retard": "law = ", "?to=5&hand=7:100": "hand = 7:100", "?to=5&hand=9:1,7:2": "cycles that ascend",
		"?to=9&hand_trailing=3:4": "no such offset", "?to=9&faults=noise@3-": "an instrument that is fitted", "?to=9&faults=nonsense": "fault = nonsense",
		"?to=9&guard=0.5": "a whole number", ".csv?to=0": "to = 0", ".toml?compression_ratio=9&to=3": "an embedded engine as it is",
	} {
		code, _, text := ask(t, "GET", at+query, "", nil)
		require.Equal(t, 400, code, query)
		require.Contains(t, text, want, query)
	}
}

// Runs kept are few, and end with the page.
func TestLoopLives(t *testing.T) {
	p := New("test")
	for i := range mostLives + 3 {
		q, err := parse(map[string][]string{"seed": {string(rune('1' + i%9))}, "law": {loopLaws()[i%2]}, "envelope": {"0"}, "to": {"3"}}, &loopTakes)
		require.NoError(t, err)
		_, err = p.loop(context.Background(), q)
		require.NoError(t, err)
		require.LessOrEqual(t, len(p.lives.all), mostLives)
	}
	live := p.lives.all[0].live
	p.lives.end()
	require.Empty(t, p.lives.all)
	_, err := live.Next()
	require.Error(t, err, "it is closed")
}
