package hub

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"earlyage/events/stream"
	"earlyage/projector"
)

// Rebuild builds the view of a folder anew beside the old one, compares them,
// and swaps them if swap says so. fromStream reads the folder's own stream, by
// a server that listens nowhere; else the kept bytes are read. No hub may have
// the folder.
func Rebuild(ctx context.Context, dir string, fromStream, swap bool, progress func(done, total uint64)) (r projector.Report, err error) {
	unlock, err := lockFolder(dir)
	if errors.Is(err, projector.ErrLocked) {
		err = fmt.Errorf("%w: stop it first", err)
	}
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	mark, demo, err := ReadMark(dir)
	if err != nil {
		return r, err
	}
	cfg, from := projector.Config{Dir: dir, Demo: demo, Unsigned: demo && !mark.Signed}, projector.Keep
	if fromStream {
		from = projector.Stream
		server, err := stream.StartServer(stream.ServerConfig{Dir: filepath.Join(dir, "stream")}, nil)
		if err != nil {
			return r, err
		}
		defer server.Stop()
		nc, err := server.Connect()
		if err != nil {
			return r, err
		}
		defer nc.Close()
		s, err := stream.Open(ctx, nc, stream.Config{})
		if err != nil {
			return r, err
		}
		cfg.Stream = s
		if demo {
			cfg.Stream = demoSource{s, s.Message}
		}
	}
	run := projector.Check
	if swap {
		run = projector.Rebuild
	}
	r, err = run(ctx, cfg, from, progress)
	if errors.Is(err, projector.ErrLocked) {
		err = fmt.Errorf("%w: stop it first", err)
	}
	return r, err
}
