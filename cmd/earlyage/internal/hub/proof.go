package hub

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strconv"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/bundle"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/merkle"
	"earlyage/scheduler"
)

// auditors may take the record of a site away as a whole.
var auditors = []events.Role{events.Engineer, events.Officer, events.Keeper}

// proofRoutes show that the record is whole.
func (w *web) proofRoutes() []door.Route {
	get := func(pattern string, who door.Access, f http.HandlerFunc) door.Route {
		return door.Route{Method: http.MethodGet, Pattern: pattern, Who: who, Handler: f}
	}
	return []door.Route{
		get(api.PathCheckpoint, door.SignedIn, w.checkpoint),
		get(api.PathCheckpoints, door.SignedIn, w.checkpoints),
		get(api.PathWalls+"/{site}/{wall}/"+api.WallBundle, door.Roles(auditors...), w.bundle),
		{Method: http.MethodPost, Pattern: api.PathBackup, Who: door.LocalOnly, Handler: http.HandlerFunc(w.backUp)},
	}
}

var proofOperations = []operation{
	{method: "GET", path: api.PathCheckpoint, summary: "What the record is now, signed by the hub: a C2SP checkpoint. It is kept.", answer: "", media: "text/plain"},
	{method: "GET", path: api.PathCheckpoints, summary: "The kept checkpoints, the oldest first, at most 1,000 at a time.", query: []parameter{{"after", "Only of logs of more messages than this.", `^\d+$`}}, answer: api.Checkpoints{}},
	{method: "GET", path: api.PathWalls + "/{site}/{wall}/" + api.WallBundle, summary: "The record of a wall in a file that proves itself; earlyage verify reads it.", answer: "", media: bundleMedia},
	{method: "POST", path: api.PathBackup, summary: "Copy all that the hub keeps into a new folder of its own machine, while it goes on.", body: api.BackupInto{}, status: http.StatusCreated, answer: api.BackedUp{}},
}

const (
	bundleMedia     = "application/x-ndjson"
	mostCheckpoints = 1000
)

func (w *web) checkpoint(rw http.ResponseWriter, _ *http.Request) {
	c, err := w.hub.projector.Checkpoint()
	if err != nil {
		w.fail(rw, err)
		return
	}
	rw.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.send(rw, c.Note)
}

func (w *web) checkpoints(rw http.ResponseWriter, r *http.Request) {
	after := int64(0)
	if text := r.FormValue("after"); text != "" {
		var err error
		if after, err = strconv.ParseInt(text, 10, 64); err != nil || after < 0 {
			w.fail(rw, &events.Refusal{Field: "after", Value: text[:min(len(text), 40)], Allowed: "a number of messages, 0 or more"})
			return
		}
	}
	list, err := w.hub.projector.Checkpoints(after, mostCheckpoints)
	out := api.Checkpoints{Key: w.hub.projector.VerifierKey(), Checkpoints: []api.Checkpoint{}}
	for _, c := range list {
		out.Checkpoints = append(out.Checkpoints, api.Checkpoint{
			At: face.Time{Time: c.At}, Size: c.Size, Through: c.Through, Root: c.Root.String(), Note: string(c.Note),
		})
	}
	w.answer(rw, out, err)
}

func (w *web) bundle(rw http.ResponseWriter, r *http.Request) {
	ref := projector.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	raw, err := w.hub.bundleOf(r.Context(), w.sight(r), ref)
	if err != nil {
		w.fail(rw, err)
		return
	}
	rw.Header().Set("Content-Type", bundleMedia)
	rw.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", ref.Site+"-"+ref.Wall+".bundle"))
	w.send(rw, raw)
}

func (w *web) backUp(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, http.StatusCreated, func(_ door.Caller, in api.BackupInto) (any, error) {
		if !filepath.IsAbs(in.Dir) {
			return nil, &events.Refusal{Field: "dir", Value: in.Dir[:min(len(in.Dir), 80)], Allowed: "a path from the root, of a folder that is not there yet"}
		}
		b, err := w.hub.Backup(r.Context(), filepath.Clean(in.Dir))
		if err != nil {
			// Whoever asks runs the hub: they see why.
			return nil, &events.Refusal{Field: "dir", Value: in.Dir, Allowed: err.Error()}
		}
		out := api.BackedUp{Made: face.Time{Time: b.Made}, Through: b.Through, StreamEnds: b.StreamEnds}
		for _, f := range b.Files {
			out.Bytes += f.Bytes
		}
		return out, nil
	})
}

// send writes bytes that are not kept anywhere on their way.
func (w *web) send(rw http.ResponseWriter, raw []byte) {
	rw.Header().Set("Cache-Control", "no-store")
	within(rw)
	if _, err := rw.Write(raw); err != nil { // #nosec G705 -- a file of a media type of its own, sent with nosniff: never a page
		w.hub.log.Debug("answer not read to its end", "error", err)
	}
}

// bundleOf puts the record of a wall together, up to a checkpoint made for it.
func (h *Hub) bundleOf(ctx context.Context, seen sight, ref projector.Ref) ([]byte, error) {
	signed, err := h.projector.Checkpoint()
	if err != nil {
		return nil, err
	}
	// A message is in the log before it is folded: what the checkpoint holds of the
	// wall must be in the view too.
	if err := h.projector.Wait(ctx, signed.Through); err != nil {
		return nil, err
	}
	list, err := h.allCheckpoints()
	if err != nil {
		return nil, err
	}
	list = slices.DeleteFunc(list, func(later projector.SignedCheckpoint) bool { return later.Size > signed.Size })
	c := bundle.Contents{Checkpoints: list}
	err = h.look(seen, func(p pictured) (err error) {
		if p.Wall(ref) == nil {
			return errUnseen
		}
		state := p.View.Hub()
		c.Head = bundle.Head{
			Bundle: bundle.Version, Key: h.projector.VerifierKey(), Site: ref.Site, Wall: ref.Wall, Made: p.now, Rules: scheduler.Rules,
			Demo: state.Demo, Unsigned: state.Unsigned, SignedFrom: state.SignedFrom,
		}
		c.Leaves, err = bundle.Gather(p.View, ref)
		return err
	})
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	err = h.projector.Tree(func(tree projector.Tree) error {
		return bundle.Write(&out, c, tree, func(text string) ([]byte, error) { return merkle.Sign(h.projector.HubKey(), text) })
	})
	return out.Bytes(), err
}

// allCheckpoints lists every kept checkpoint.
func (h *Hub) allCheckpoints() (all []projector.SignedCheckpoint, err error) {
	for after := int64(-1); ; {
		list, err := h.projector.Checkpoints(after, mostCheckpoints)
		if err != nil || len(list) == 0 {
			return all, err
		}
		all, after = append(all, list...), list[len(list)-1].Size
	}
}
