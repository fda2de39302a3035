//go:build !linux

package main

// relax is for Linux alone.
func relax() {}
