package dataset

import (
	"fmt"
	"slices"
)

// formatNames are the formats, in the order of the data card.
var formatNames = []string{"parquet", "csv", "npz", "mat", "wav", "c"}

// Formats lists the names of the formats.
func Formats() []string { return slices.Clone(formatNames) }

// output is one kind of file, of which every part has one.
type output struct {
	stem, extension string
	format, media   string
	about           string
	holds           bool     // it needs the part as a whole
	fields          []Column // of a CSV file
	open            func(j *job, f *file) (encoder, error)
}

// job is what an encoder may ask for besides rows.
type job struct {
	*set
	part int
	held *held
}

// file names the file of a part.
func (o *output) file(part int) string {
	return fmt.Sprintf("%s-%05d.%s", o.stem, part, o.extension)
}

// outputs lists the kinds of files of s, each once.
func outputs(s *set) (all []output, err error) {
	wants := func(f string) bool { return slices.Contains(s.Formats, f) }
	var waves []wave
	if wants("wav") {
		if waves, err = newWaves(s.schema); err != nil {
			return nil, err
		}
	}
	if wants("parquet") {
		all = append(all, output{stem: "cycles", extension: "parquet", format: "parquet", media: "application/vnd.apache.parquet",
			about: "labels and channels, a row a cycle", open: newParquet})
	}
	if wants("csv") || wants("wav") {
		all = append(all, labelsOutput(s.schema, waves))
	}
	if wants("csv") {
		all = append(all, seriesOutputs(s.schema)...)
	}
	if wants("npz") {
		all = append(all, output{stem: "cycles", extension: "npz", format: "npz", media: "application/zip",
			about: "an array for each column", holds: true, open: holding(writeNPZ)})
	}
	if wants("mat") {
		all = append(all, output{stem: "cycles", extension: "mat", format: "mat", media: "application/x-matlab-data",
			about: "a variable for each column", holds: true, open: holding(writeMAT)})
	}
	for i := range waves {
		all = append(all, waves[i].output())
	}
	if wants("c") {
		all = append(all, output{stem: "cycles", extension: "h", format: "c", media: "text/x-c",
			about: "arrays for a test bench", holds: true, open: holding(writeHeader)})
	}
	return all, nil
}

// holding makes an encoder that writes the held part at its end.
func holding(write func(j *job, f *file) error) func(*job, *file) (encoder, error) {
	return func(j *job, f *file) (encoder, error) { return &atEnd{j, f, write}, nil }
}

type atEnd struct {
	job   *job
	file  *file
	write func(j *job, f *file) error
}

func (e *atEnd) row(*Row) error { return nil }
func (e *atEnd) close() error   { return e.write(e.job, e.file) }
