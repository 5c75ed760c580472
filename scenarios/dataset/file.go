package dataset

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// file appears under its name only when it is whole.
type file struct {
	name   string // without folder
	temp   string // path
	final  string // path
	out    *os.File
	buffer *bufio.Writer
	size   int64 // bytes written
}

// tempName is the temporary name of a file; run tells apart runs that write files
// of the same name at once.
func tempName(name, run string) string { return "." + name + run + ".tmp" }

func create(dir, name, run string) (*file, error) {
	f := &file{name: name, temp: filepath.Join(dir, tempName(name, run)), final: filepath.Join(dir, name)}
	var err error
	if f.out, err = os.Create(f.temp); err != nil {
		return nil, fmt.Errorf("dataset: %s: %w", name, err)
	}
	f.buffer = bufio.NewWriterSize(f.out, 1<<18)
	return f, nil
}

// Write implements io.Writer.
func (f *file) Write(p []byte) (int, error) {
	n, err := f.buffer.Write(p)
	f.size += int64(n)
	return n, f.named(err)
}

// patch writes over bytes that are written already.
func (f *file) patch(p []byte, offset int64) error {
	if err := f.buffer.Flush(); err != nil {
		return f.named(err)
	}
	_, err := f.out.WriteAt(p, offset)
	return f.named(err)
}

// settle puts all bytes on the disk.
func (f *file) settle() error {
	err := f.buffer.Flush()
	if err == nil {
		err = f.out.Sync()
	}
	if e := f.out.Close(); err == nil {
		err = e
	}
	f.out = nil
	return f.named(err)
}

// appear gives a settled file its name.
func (f *file) appear() error { return f.named(os.Rename(f.temp, f.final)) }

// drop removes what has not appeared.
func (f *file) drop() {
	if f.out != nil {
		f.out.Close()
	}
	os.Remove(f.temp)
}

func (f *file) named(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("dataset: %s: %w", f.name, err)
}

// syncDir puts names on the disk.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("dataset: %w", err)
	}
	defer d.Close()
	if err := d.Sync(); err != nil {
		return fmt.Errorf("dataset: %w", err)
	}
	return nil
}

// save writes a whole small file.
func save(dir, name, run string, write func(io.Writer) error) error {
	f, err := create(dir, name, run)
	if err != nil {
		return err
	}
	defer f.drop()
	if err := write(f); err != nil {
		return err
	}
	if err := f.settle(); err != nil {
		return err
	}
	return f.appear()
}
