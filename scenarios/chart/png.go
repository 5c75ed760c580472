package chart

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image/png"

	"gonum.org/v1/plot/vg/vgimg"
)

// png returns the picture with its size in metres and one iTXt chunk for
// every entry of meta. Source: Portable Network Graphics Specification,
// second edition, 2003, sections 5.3, 11.3.4.5 and 11.3.5.3.
func (c *Chart) png(meta Meta) ([]byte, error) {
	canvas := vgimg.NewWith(vgimg.UseWH(pageWidth, pageHeight), vgimg.UseDPI(pngDPI), vgimg.UseBackgroundColor(paper))
	c.draw(canvas, meta.get("version"))
	var raw bytes.Buffer
	if err := png.Encode(&raw, canvas.Image()); err != nil {
		return nil, fmt.Errorf("chart: png: %w", err)
	}
	const header = 8 + 4 + 4 + 13 + 4 // signature and the IHDR chunk
	b := raw.Bytes()
	out := append([]byte(nil), b[:header]...)
	const perMetre = (pngDPI*10000 + 127) / 254
	size := binary.BigEndian.AppendUint32(nil, perMetre)
	size = append(binary.BigEndian.AppendUint32(size, perMetre), 1)
	out = appendChunk(out, "pHYs", size)
	for _, e := range meta {
		// keyword, end; not compressed; no language; no translated keyword; text
		out = appendChunk(out, "iTXt", []byte(e.Key+"\x00\x00\x00\x00\x00"+e.Value))
	}
	return append(out, b[header:]...), nil
}

func appendChunk(dst []byte, kind string, data []byte) []byte {
	dst = binary.BigEndian.AppendUint32(dst, uint32(len(data)))
	start := len(dst)
	dst = append(append(dst, kind...), data...)
	return binary.BigEndian.AppendUint32(dst, crc32.ChecksumIEEE(dst[start:]))
}
