package table

import (
	"bytes"
	"fmt"
)

// split appends the cells of a line to dst, without spaces and quotes around them. One
// empty cell after the last separator is none, as instruments write it.
func split(dst [][]byte, line []byte, sep byte) [][]byte {
	blank := " \t\r"
	if sep == '\t' {
		blank = " \r"
	}
	for {
		if line = bytes.TrimLeft(line, blank); len(line) == 0 {
			return dst
		}
		cell, rest, quoted := quoted(line)
		k := end(rest, sep)
		if quoted && len(bytes.TrimSpace(rest[:k])) > 0 { // text after the quotes
			quoted, rest = false, line
			k = end(rest, sep)
		}
		if !quoted {
			cell = bytes.TrimRight(rest[:k], blank)
		}
		dst = append(dst, cell)
		if k == len(rest) {
			return dst
		}
		line = rest[k+1:]
	}
}

// end is where the cell that b begins with ends.
func end(b []byte, sep byte) int {
	k := bytes.IndexByte(b, sep)
	if sep == ' ' {
		k = bytes.IndexAny(b, " \t")
	}
	if k < 0 {
		return len(b)
	}
	return k
}

// quoted is what stands in the quotes that b begins with, and what follows them.
func quoted(b []byte) (cell, rest []byte, ok bool) {
	if len(b) < 2 || b[0] != '"' {
		return nil, b, false
	}
	for i := 1; i < len(b); i++ {
		if b[i] != '"' {
			continue
		}
		if i+1 < len(b) && b[i+1] == '"' { // a quote itself
			i++
			continue
		}
		return bytes.TrimSpace(b[1:i]), b[i+1:], true
	}
	return nil, b, false
}

// separator is what parts the cells of lines: the first of tab, semicolon and comma that
// more than half of them have, or spaces.
func separator(lines [][]byte, point byte) byte {
	for _, c := range []byte{'\t', ';', ','} {
		n := 0
		for _, l := range lines {
			if bytes.IndexByte(l, c) >= 0 {
				n++
			}
		}
		if c != point && 2*n > len(lines) {
			return c
		}
	}
	return ' '
}

// spoken is a separator in words.
func spoken(sep byte) string {
	switch sep {
	case ' ':
		return "spaces"
	case '\t':
		return "tabs"
	}
	return fmt.Sprintf("%q", sep)
}
