// Package sensor turns accelerometers, files and a simulated lathe into one
// thing: a Source of Blocks of samples, in SI units, each sample with its time.
//
// What belongs here: reading formats and wires, units of the sensor, what the
// source itself knows went wrong. What does not: spectra, speeds, lathes, wood.
// Sources that need a heavy library are sub-packages.
package sensor

import "errors"

// ErrClosed is returned by Next after Close: we ended it, the device did not fail.
var ErrClosed = errors.New("sensor: source is closed")

// Block is a run of consecutive samples of one source.
//
// T and every column of Axes have the same length, at least one; or there are no samples at
// all, T and Axes are nil, and the block is there for its Notes: a live source that has lost
// its sensor says so at once. The caller owns all of it: a source hands out fresh slices and
// never writes to them again.
type Block struct {
	// T is the time of each sample in s since the source opened (for a file: since its
	// first sample), strictly increasing within a block and from one block to the next.
	T []float64
	// Axes holds one column an axis, one to three, in m/s², gravity included as the
	// sensor gave it. Every block of a source that has samples has
	// the same number of axes. Never NaN or Inf.
	Axes [][]float64
	// Lost counts the samples that the source knows are missing before or within this
	// block (bad rows skipped, sequence numbers that jump). 0 if it knows of none.
	Lost int
	// Range is the largest magnitude that an axis of this sensor can show, m/s², where
	// the source knows it (WAV full scale, a board that says so). 0 is unknown.
	Range float64
	// Notes holds what the source found out by itself and must say aloud, in a turner's
	// words ("no unit given: 1 g of gravity found, so the values are in g"). Usually nil.
	Notes []string
}

// Source is a stream of samples. Every implementation passes sensortest.TestSource.
type Source interface {
	// Next waits for the next block. The error is io.EOF when the data have ended,
	// ErrClosed when Close was called, and anything else when the device or file
	// failed; a block is valid only when the error is nil. After an error every
	// further call returns the same error.
	Next() (Block, error)
	// Close ends the source and unblocks a waiting Next. It may be called from another
	// goroutine, and more than once; further calls return nil.
	Close() error
}
