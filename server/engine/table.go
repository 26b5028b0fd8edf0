package engine

import (
	"context"
	"io"

	"turnwright/search/pattern"
	"turnwright/search/table"
)

// Content is a table that is ready for use. It is never changed.
type Content interface {
	Write(w io.Writer) error
}

// Table says what a table holds and how to come by it; where it is kept is
// another's matter.
type Table struct {
	Key     string // equal keys, equal tables
	Bytes   int64  // of memory
	Entries uint64 // words or positions in it, or somewhat more

	// Build makes it. progress is told how many of the entries are there now.
	Build func(ctx context.Context, workers int, progress func(done uint64)) (Content, error)
	// Read reads what Write wrote.
	Read func(r io.Reader) (Content, error)
	// Map uses what Write wrote where it is, in memory that nobody changes and that
	// begins at a multiple of eight bytes.
	Map func(data []byte) (Content, error)
}

func nearTable(spec table.Spec) Table {
	return Table{
		Key: spec.Key(), Bytes: int64(spec.Bytes()), Entries: spec.Words(),
		Build: func(ctx context.Context, workers int, progress func(uint64)) (Content, error) {
			return orNil(table.Build(ctx, spec, workers, func(done, total uint64) {
				progress(uint64(float64(done) / float64(total) * float64(spec.Words())))
			}))
		},
		Read: func(r io.Reader) (Content, error) { return orNil(table.Read(spec, r)) },
		Map:  func(data []byte) (Content, error) { return orNil(table.Map(spec, data)) },
	}
}

func patternTable(spec pattern.Spec) Table {
	return Table{
		Key: spec.Key(), Bytes: int64(spec.Bytes()), Entries: spec.Entries(),
		Build: func(ctx context.Context, workers int, progress func(uint64)) (Content, error) {
			return orNil(pattern.Build(ctx, spec, workers, func(done, _ uint64) { progress(done) }))
		},
		Read: func(r io.Reader) (Content, error) { return orNil(pattern.Read(spec, r)) },
		Map:  func(data []byte) (Content, error) { return orNil(pattern.Map(spec, data)) },
	}
}

// orNil keeps a nil pointer from becoming a Content that is not nil.
func orNil[T interface {
	comparable
	Content
}](c T, err error) (Content, error) {
	var none T
	if c == none || err != nil {
		return nil, err
	}
	return c, nil
}
