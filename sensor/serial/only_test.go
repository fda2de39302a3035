package serial

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestOnly(t *testing.T) {
	t.Parallel()
	built := Port{Name: "/dev/ttyS0"}
	uno := Port{"/dev/ttyACM0", true, "Uno"}
	nano := Port{"/dev/ttyUSB0", true, ""}
	for _, c := range []struct {
		ports      []Port
		name, want string
	}{
		{[]Port{built, uno}, "/dev/ttyACM0", ""},
		{[]Port{uno, nano, built}, "", "2 USB serial ports: /dev/ttyACM0 (Uno), /dev/ttyUSB0 (USB), /dev/ttyS0"},
		{[]Port{built}, "", "no USB serial port, only /dev/ttyS0"},
		{nil, "", "no serial port on this computer"},
	} {
		name, err := only(c.ports, nil)
		assert.Equal(t, c.name, name)
		if c.want != "" {
			assert.EqualError(t, err, c.want)
			assert.NotEmpty(t, err.(*Error).Hint())
		} else {
			assert.NoError(t, err)
		}
	}
	_, err := only(nil, errors.New("no such luck"))
	assert.EqualError(t, err, "no such luck")
}
