//go:build !darwin || cgo

package serial

import (
	"cmp"

	"go.bug.st/serial/enumerator"
)

// Ports lists the serial ports of this computer, with USB names where the system tells them.
func Ports() ([]Port, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	var ports []Port
	for _, p := range found {
		if p.Name == "" { // a link to a port that is listed beside it
			continue
		}
		port := Port{Name: p.Name, USB: p.IsUSB}
		if p.IsUSB {
			port.Product = cmp.Or(p.Product, "USB "+p.VID+":"+p.PID)
		}
		ports = append(ports, port)
	}
	return ports, nil
}
