package projector

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"earlyage/events"
	"earlyage/events/stream"
)

const (
	mostTries   = 6
	firstPause  = 50 * time.Millisecond
	readPause   = 2 * time.Second // before the stream is read again after an error
	receiptWait = 5 * time.Second // before receipts that could not be sent are tried again
)

// Run reads the stream and keeps the store level with it until ctx ends, then
// returns nil. A message never ends it, nor does a stream that is short or
// cannot be reached. The error wraps ErrGiveUp when the disk is full or fails,
// or when a stored state cannot be read; reads of the last committed picture go
// on even then. It leaves no goroutine behind.
//
// Three steps work side by side on following batches: reading and decoding,
// keeping, folding. Each hands on only what it has finished.
func (p *Projector) Run(ctx context.Context) error {
	if p.cfg.Stream == nil {
		return errors.New("run projector: config has no Stream")
	}
	if !p.running.CompareAndSwap(false, true) {
		return errors.New("run projector: it is running")
	}
	defer p.running.Store(false)
	p.level.start()
	p.oweAll()
	if err := p.foldKept(ctx); err != nil {
		return p.ended(err)
	}
	decoded, kept, register := make(chan []item), make(chan []item), p.fold.register
	g, inner := errgroup.WithContext(ctx)
	g.Go(func() error { return p.readStream(inner, register, decoded) })
	g.Go(func() error { return p.keepAll(inner, decoded, kept) })
	g.Go(func() error { return p.foldAll(inner, kept) })
	g.Go(func() error { return p.watchHead(inner) })
	g.Go(func() error { return p.sendReceipts(inner) })
	return p.ended(g.Wait())
}

// ended notes why Run ends: it was told to, or it gives up.
func (p *Projector) ended(err error) error {
	if errors.Is(err, ErrGiveUp) {
		p.level.stop(err.Error())
		return fmt.Errorf("run projector: %w", err)
	}
	p.level.stop("the hub is not reading the stream")
	return nil
}

// foldKept folds what an earlier Run, which gave up, kept and did not fold. The
// three steps may only begin when the view stands at the last kept message.
func (p *Projector) foldKept(ctx context.Context) error {
	if err := p.reload(); err != nil {
		return fmt.Errorf("%w: %w", ErrGiveUp, err)
	}
	err := p.keep.read(p.fold.stand.Through, p.keep.last, p.cfg.BatchMax, func(batch []stream.Message) error {
		items, _ := p.reader.decode(batch, p.fold.register)
		if err := p.keep.resolveKept(items); err != nil {
			return err
		}
		if err := p.retry(ctx, func() error { return p.foldBatch(items) }); err != nil {
			return err
		}
		p.note(items)
		return nil
	})
	if err != nil && ctx.Err() == nil && !errors.Is(err, ErrGiveUp) {
		return fmt.Errorf("%w: %w", ErrGiveUp, err)
	}
	return err
}

// reload takes the committed states where an earlier Run could not: what is read
// next is judged by the register among them.
func (p *Projector) reload() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.fold.loaded {
		return nil
	}
	return p.fold.load()
}

// oweAll makes receipts due for every device: the last run may have ended
// between a commit and its receipts.
func (p *Projector) oweAll() {
	p.mu.RLock()
	defer p.mu.RUnlock()
	for name := range p.fold.sites {
		p.unsaid.owe([]events.Source{{Site: name}})
	}
}

// expand puts the devices of a site in the place of the site.
func (p *Projector) expand(due []events.Source) []events.Source {
	p.mu.RLock()
	defer p.mu.RUnlock()
	all := map[events.Source]bool{}
	for _, src := range due {
		all[src] = src.Device != ""
		place := p.fold.sites[src.Site]
		if src.Device != "" || place == nil {
			continue
		}
		for _, device := range place.devices.List() {
			all[events.Source{Site: src.Site, Device: device}] = true
		}
	}
	maps.DeleteFunc(all, func(_ events.Source, due bool) bool { return !due })
	return slices.SortedFunc(maps.Keys(all), func(a, b events.Source) int { return cmp.Compare(a.String(), b.String()) })
}

// keepAll is the second step. A crash after its commit leaves messages that are
// kept and not folded; Open folds them.
func (p *Projector) keepAll(ctx context.Context, in <-chan []item, out chan<- []item) error {
	for {
		items, err := receive(ctx, in)
		if err != nil {
			return err
		}
		if err := p.retry(ctx, func() error { return p.keep.commit(items) }); err != nil {
			return err
		}
		if err := send(ctx, out, items); err != nil {
			return err
		}
	}
}

// foldAll is the third step. A crash after its commit leaves receipts and
// changes unsaid: a device asks again, a subscriber takes a whole picture.
func (p *Projector) foldAll(ctx context.Context, in <-chan []item) error {
	for {
		items, err := receive(ctx, in)
		if err != nil {
			return err
		}
		if err := p.retry(ctx, func() error { return p.foldBatch(items) }); err != nil {
			return err
		}
		p.note(items)
		p.tell()
	}
}

// note remembers what has to be told of a committed batch. What is true of the
// company is true of every site.
func (p *Projector) note(items []item) {
	if !p.unsaid.add(items) {
		return
	}
	p.mu.RLock()
	defer p.mu.RUnlock()
	for name := range p.fold.sites {
		p.unsaid.addSite(name)
	}
}

// foldBatch holds readers out while states and file differ.
func (p *Projector) foldBatch(items []item) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.fold.loaded {
		if err := p.fold.load(); err != nil {
			return err
		}
	}
	if err := p.fold.commit(items); err != nil {
		// The states in memory are ahead of the file, or the file is ahead of what
		// was reported: only what is committed counts.
		return errors.Join(err, p.fold.load())
	}
	p.register.Store(p.fold.register)
	p.level.commit(p.fold.stand.Through)
	close(p.moved)
	p.moved = make(chan struct{})
	return nil
}

// retry tries a commit again, unless that is of no use.
func (p *Projector) retry(ctx context.Context, commit func() error) error {
	pause := firstPause
	for try := 1; ; try++ {
		err := commit()
		switch {
		case err == nil:
			return nil
		case final(err) || try == mostTries:
			return fmt.Errorf("%w after %d tries: %w", ErrGiveUp, try, err)
		}
		p.cfg.Log.Warn("commit failed, trying again", "try", try, "cause", err.Error())
		if err := sleep(ctx, pause); err != nil {
			return err
		}
		pause *= 2
	}
}

// tell sends what is committed, if the head of the stream is reached; else it
// asks for a look at the head, where that is all that is missing.
func (p *Projector) tell() {
	if p.level.wanting() {
		nudge(p.seen)
	}
	p.flush()
}

// flush sends what is committed, if the head of the stream is reached.
func (p *Projector) flush() {
	if !p.level.is() {
		return
	}
	if ch, ok := p.unsaid.takeChange(); ok {
		p.feed.send(ch)
	}
	nudge(p.due)
}

// sendReceipts publishes what devices may forget, after both commits.
func (p *Projector) sendReceipts(ctx context.Context) error {
	for {
		if _, err := receive(ctx, p.due); err != nil {
			return err
		}
		if p.cfg.Receipts == nil || !p.level.is() {
			continue
		}
		devices := p.unsaid.takeDevices()
		if err := p.publishReceipts(devices); err != nil {
			p.cfg.Log.Warn("receipts not sent, trying again", "devices", len(devices), "cause", err.Error())
			p.unsaid.owe(devices)
			if err := sleep(ctx, receiptWait); err != nil {
				return err
			}
			nudge(p.due)
		}
	}
}

func (p *Projector) publishReceipts(devices []events.Source) error {
	var list []stream.Receipt
	for _, d := range p.expand(devices) {
		r, ok, err := p.Receipt(d)
		if err != nil {
			return err
		}
		if ok {
			list = append(list, r)
		}
	}
	if len(list) == 0 {
		return nil
	}
	return p.cfg.Receipts(list)
}

// watchHead looks at the end of the stream, and ends Run when a reader found a
// state that cannot be read.
func (p *Projector) watchHead(ctx context.Context) error {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		p.look(ctx)
		select {
		case <-tick.C:
		case <-p.seen:
		case bad := <-p.damage:
			return fmt.Errorf("%w: %w", ErrGiveUp, bad)
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (p *Projector) look(ctx context.Context) {
	asked, kept := time.Now(), p.level.kept()
	_, last, err := p.cfg.Stream.Head(ctx)
	if err != nil {
		return // level() says so once the last look is too old
	}
	if p.level.look(last, kept, asked) {
		p.short(last)
		if again := p.readAgain.Load(); again != nil {
			(*again)(errAgain) // the reader waits until the stream fits again
		}
		return
	}
	p.flush()
}

// fits notes that the stream is the one that the store was filled from.
func (p *Projector) fits() {
	if p.level.fits() {
		nudge(p.seen)
	}
}

// short notes that the stream ends before the store, once.
func (p *Projector) short(last uint64) {
	why := fmt.Sprintf("the stream ends at %d, before the store", last)
	if p.level.misfit(why) {
		p.cfg.Log.Error("stream is shorter than the store: nothing is published, everything is stale", "stream_last", last)
	}
}

func nudge(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

func receive[T any](ctx context.Context, c <-chan T) (v T, err error) {
	select {
	case v = <-c:
		return v, nil
	case <-ctx.Done():
		return v, ctx.Err()
	}
}

func send[T any](ctx context.Context, c chan<- T, v T) error {
	select {
	case c <- v:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	_, err := receive(ctx, t.C)
	return err
}
