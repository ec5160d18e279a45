package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

// stopSignals turns the first interrupt into stop, which ends the scan with what
// was read so far, and the second into a cancelled context, which undoes it.
// done gives the signals back.
func stopSignals(parent context.Context, talk *talk) (ctx context.Context, stop <-chan struct{}, done func()) {
	ctx, cancel := context.WithCancel(parent)
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	stopped := make(chan struct{})
	go func() {
		select {
		case <-signals:
		case <-ctx.Done():
			return
		}
		close(stopped)
		talk.say("stopping: what was read so far will be recorded; interrupt again to leave no trace")
		select {
		case <-signals:
			cancel()
		case <-ctx.Done():
		}
	}()
	return ctx, stopped, func() {
		signal.Stop(signals)
		cancel()
	}
}
