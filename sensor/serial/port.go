package serial

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"syscall"
	"time"

	tty "go.bug.st/serial"
)

// Error is what is wrong with a port or the board on it, and what to try.
type Error struct {
	Port string // "" where it is about all of them
	Err  error
	Try  string
}

func (e *Error) Error() string {
	if e.Port == "" {
		return e.Err.Error()
	}
	return e.Port + ": " + e.Err.Error()
}

// Unwrap returns Err.
func (e *Error) Unwrap() error { return e.Err }

// Hint returns Try.
func (e *Error) Hint() string { return e.Try }

// explain gives an error of the port library plain words.
func explain(port string, err error) error {
	code := tty.PortErrorCode(-1)
	var p *tty.PortError
	if errors.As(err, &p) {
		code = p.Code()
	}
	switch {
	case errors.Is(err, fs.ErrNotExist) || code == tty.PortNotFound:
		return &Error{port, errors.New("there is no such port"), "plug the board in; vibe watch --from serial lists the ports there are"}
	case code == tty.PermissionDenied || errors.Is(err, fs.ErrPermission):
		return &Error{port, errors.New("no permission to open it"),
			"on Linux, see its group with ls -l " + port + " (often dialout), then sudo usermod -aG dialout $USER, and log in again"}
	case code == tty.PortBusy:
		return &Error{port, errors.New("another program uses it"), "close the serial monitor or the other vibe that has it open"}
	case code == tty.InvalidSpeed:
		return &Error{port, errors.New("the port cannot run at this baud rate"), "leave --baud out to have the usual ones tried"}
	case code == tty.InvalidSerialPort, errors.Is(err, syscall.EISDIR):
		return &Error{port, errors.New("it is no serial port"), "vibe watch --from serial lists the ports there are"}
	}
	return &Error{port, err, "unplug the board and plug it in again"}
}

// Port is a serial port of this computer.
type Port struct {
	// Name is what Open takes.
	Name string
	// USB says that it is a USB device; only such are chosen by themselves.
	USB bool
	// Product is what the device calls itself, or its USB numbers, "" if nothing is known.
	Product string
}

// String is the name, with what is known about it.
func (p Port) String() string {
	switch {
	case p.Product != "":
		return p.Name + " (" + p.Product + ")"
	case p.USB:
		return p.Name + " (USB)"
	}
	return p.Name
}

// only picks the one USB port. It takes what Ports returns.
func only(ports []Port, err error) (string, error) {
	if err != nil {
		return "", err
	}
	var usb, all []string
	for _, p := range ports {
		all = append(all, p.String())
		if p.USB {
			usb = append(usb, p.Name)
		}
	}
	switch {
	case len(usb) == 1:
		return usb[0], nil
	case len(usb) > 1:
		return "", &Error{"", fmt.Errorf("%d USB serial ports: %s", len(usb), strings.Join(all, ", ")), "name one: --from serial:" + usb[0]}
	case len(all) > 0:
		return "", &Error{"", fmt.Errorf("no USB serial port, only %s", strings.Join(all, ", ")), "plug the board in, or name a port: --from serial:" + ports[0].Name}
	}
	return "", &Error{"", errors.New("no serial port on this computer"), "plug the board in; some USB cables carry power only: try another"}
}

// dial opens the port at the rate that is being tried.
func (s *source) dial() (tty.Port, error) {
	wire, err := tty.Open(s.stream.port, &tty.Mode{BaudRate: s.rates.baud()})
	if err != nil {
		return nil, err
	}
	if err := errors.Join(wire.SetReadTimeout(poll), wire.ResetInputBuffer()); err != nil {
		return nil, errors.Join(err, wire.Close())
	}
	return wire, nil
}

// redial waits until the board is back; nil when the source was closed meanwhile.
func (s *source) redial() tty.Port {
	again := time.NewTicker(reopen)
	defer again.Stop()
	for {
		select {
		case <-s.done:
			return nil
		case <-again.C:
		}
		wire, err := s.dial()
		if err != nil {
			continue // not there yet, or not yet ours to open: what went before has been told
		}
		s.tell(func(at float64) {
			s.stream.note("the board is back")
			s.stream.plugged(at)
			s.rates.begin(at)
		})
		return wire
	}
}

// change sets another baud rate. One that the port cannot run is left to the next look.
func (s *source) change(wire tty.Port, baud int) error {
	err := wire.SetMode(&tty.Mode{BaudRate: baud})
	var p *tty.PortError
	if errors.As(err, &p) && p.Code() == tty.InvalidSpeed {
		return nil
	}
	return errors.Join(err, wire.ResetInputBuffer())
}
