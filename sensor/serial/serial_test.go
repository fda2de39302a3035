//go:build linux

package serial_test

import (
	"testing"

	"vibe/sensor"
	"vibe/sensor/sensortest"
	"vibe/sensor/serial"
)

// TestContract sends at full speed for as long as the source listens.
func TestContract(t *testing.T) {
	t.Parallel()
	sensortest.TestSource(t, func() sensor.Source {
		b := newBoard(t)
		s := b.open(serial.Options{})
		go func() {
			for b.say("# unit=mg rate=800 range=16g\n") && b.send(80, 800) {
			}
		}()
		return tied{s, b}
	})
}
