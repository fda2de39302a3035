//go:build darwin && !cgo

package serial

import (
	"strings"

	tty "go.bug.st/serial"
)

// Ports lists the serial ports of this computer. USB names need C, which this build is without;
// the name itself says whether it is USB.
func Ports() ([]Port, error) {
	names, err := tty.GetPortsList()
	if err != nil {
		return nil, err
	}
	var ports []Port
	for _, name := range names {
		ports = append(ports, Port{Name: name, USB: strings.Contains(strings.ToLower(name), "usb")})
	}
	return ports, nil
}
