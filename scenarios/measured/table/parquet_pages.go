package table

import (
	"encoding/binary"
	"fmt"
	"os"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

// What a page may say of itself: our own choice, far above what writers make, so that a
// head that lies asks for no endless memory.
const (
	pageMost   = 16 << 20 // bytes out of no bytes
	pageFold   = 1024     // and out of each byte of the file
	pageValues = 16 << 20
	pageHead   = 4096 // bytes of a head
)

// checkFoot checks the length of the foot, which the library would make room for.
func checkFoot(f *os.File, size int64, name string) error {
	var b [8]byte
	if _, err := f.ReadAt(b[:], max(0, size-8)); err != nil || string(b[4:]) != "PAR1" {
		return &Error{name, "no whole Parquet file: it does not end with PAR1"}
	}
	if foot := int64(binary.LittleEndian.Uint32(b[:])); foot > size-12 {
		return &Error{name, fmt.Sprintf("no whole Parquet file: a foot of %d bytes in a file of %d", foot, size)}
	}
	return nil
}

// checkPages reads the heads of all pages of a column, before the library believes them.
func checkPages(p *parquet.File, f *os.File, size int64, column int, where string) error {
	var head [pageHead]byte
	for g, group := range p.Metadata().RowGroups {
		wrong := func(format string, a ...any) error {
			return &Error{where, fmt.Sprintf("row group %d: ", g) + fmt.Sprintf(format, a...)}
		}
		if column >= len(group.Columns) {
			return wrong("%d columns, want %d or more", len(group.Columns), column+1)
		}
		m := &group.Columns[column].MetaData
		at, left := m.DataPageOffset, m.TotalCompressedSize
		if d := m.DictionaryPageOffset; d > 0 && d < at {
			at = d
		}
		if at < 0 || left < 0 || at > size || left > size-at {
			return wrong("%d bytes from %d on in a file of %d", left, at, size)
		}
		for end := at + left; at < end; {
			n, err := f.ReadAt(head[:min(end-at, pageHead)], at)
			if err != nil && n == 0 {
				return wrong("page at byte %d: %v", at, err)
			}
			in := new(thrift.CompactProtocol).NewReaderFromBytes(head[:n])
			var h format.PageHeader
			if err := thrift.NewDecoder(in).Decode(&h); err != nil {
				return wrong("page at byte %d: %v", at, err)
			}
			at += int64(in.BytesRead())
			values := max(h.DataPageHeader.V.NumValues, h.DataPageHeaderV2.V.NumValues, h.DictionaryPageHeader.V.NumValues)
			packed, bytes := int64(h.CompressedPageSize), int64(h.UncompressedPageSize)
			switch {
			case packed < 0 || packed > end-at:
				return wrong("page at byte %d: %d bytes of %d that are left", at, packed, end-at)
			case bytes < 0 || bytes > pageMost+pageFold*packed:
				return wrong("page at byte %d: %d bytes out of %d", at, bytes, packed)
			case values < 0 || int64(values) > pageValues:
				return wrong("page at byte %d: %d values, %d at most", at, values, pageValues)
			}
			at += packed
		}
	}
	return nil
}
