//go:build unix

package main

import (
	"os/exec"
	"syscall"
)

// apart keeps program out of reach of the Ctrl-C that a terminal sends to all of a group.
func apart(program *exec.Cmd) { program.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }
