package roster_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"text/tabwriter"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/projector/cabinet"
)

var update = flag.Bool("update", false, "write the table again")

// actors are who asks; all but the hub's own machine and the stranger have a
// phone on site a.
var actors = []struct {
	id, name, site string
	role           events.Role
}{
	{"", "the hub's machine", "", ""},
	{"p-stranger", "a stranger", "", ""},
	{"p-crew", "crew of a", "a", events.Crew},
	{"p-foreman", "foreman of a", "a", events.Foreman},
	{"p-dispatcher", "dispatcher of a", "a", events.Dispatcher},
	{"p-engineer", "engineer of a", "a", events.Engineer},
	{"p-officer", "officer of a", "a", events.Officer},
	{"p-keeper", "keeper", "_", events.Keeper},
	{"p-elsewhere", "foreman of b", "b", events.Foreman},
	{"p-allsites", "officer of all", "_", events.Officer},
	{"p-gone", "keeper who retired", "_", events.Keeper},
}

// operations are asked by each of them.
var operations = []struct {
	name string
	do   func(ctx context.Context, h *hub, by string) error
}{
	{"add a person", func(ctx context.Context, h *hub, by string) error {
		_, err := h.AddPerson(ctx, by, cabinet.Card{Name: "New"}, map[string][]events.Role{"a": {events.Crew}})
		return err
	}},
	{"appoint the crew foreman", func(ctx context.Context, h *hub, by string) error {
		return h.Appoint(ctx, by, "p-other", "a", []events.Role{events.Foreman})
	}},
	{"appoint oneself engineer", func(ctx context.Context, h *hub, by string) error {
		return h.Appoint(ctx, by, by, "a", []events.Role{events.Engineer})
	}},
	{"appoint a keeper of one site", func(ctx context.Context, h *hub, by string) error {
		return h.Appoint(ctx, by, "p-other", "a", []events.Role{events.Keeper})
	}},
	{"appoint who retired", func(ctx context.Context, h *hub, by string) error {
		return h.Appoint(ctx, by, "p-gone", "a", []events.Role{events.Crew})
	}},
	{"retire from a", func(ctx context.Context, h *hub, by string) error {
		return h.Retire(ctx, by, "p-other", "a", "left")
	}},
	{"retire everywhere", func(ctx context.Context, h *hub, by string) error {
		return h.Retire(ctx, by, "p-other", "_", "left")
	}},
	{"retire nobody", func(ctx context.Context, h *hub, by string) error {
		return h.Retire(ctx, by, "p-nobody", "_", "left")
	}},
	{"retire the last keeper", func(ctx context.Context, h *hub, by string) error {
		return h.Retire(ctx, by, "p-keeper", "_", "left")
	}},
	{"retire the last keeper by other roles", func(ctx context.Context, h *hub, by string) error {
		return h.Appoint(ctx, by, "p-keeper", "_", []events.Role{events.Officer})
	}},
	{"forget who retired", func(ctx context.Context, h *hub, by string) error { return h.Forget(ctx, by, "p-gone") }},
	{"forget who is here", func(ctx context.Context, h *hub, by string) error { return h.Forget(ctx, by, "p-other") }},
	inviting("invite the crew", "p-other", "a", roster.Phone),
	inviting("invite the foreman", "p-foreman", "a", roster.Phone),
	inviting("invite the dispatcher", "p-dispatcher", "a", roster.Phone),
	inviting("invite the engineer", "p-engineer", "a", roster.Phone),
	inviting("invite the officer", "p-officer", "a", roster.Phone),
	inviting("invite the keeper", "p-keeper", "a", roster.Phone),
	inviting("invite crew who is engineer of b", "p-both", "a", roster.Phone),
	inviting("invite crew who is crew of b", "p-crews", "a", roster.Phone),
	inviting("invite crew who is foreman of b", "p-leads", "a", roster.Phone),
	inviting("a page for the crew", "p-other", "a", roster.Page),
	inviting("a page for the engineer", "p-engineer", "a", roster.Page),
	inviting("a page for crew who is engineer of b", "p-both", "a", roster.Page),
	inviting("invite onto b without a role there", "p-other", "b", roster.Phone),
	inviting("invite onto all sites without a role", "p-other", "_", roster.Phone),
	inviting("invite who retired", "p-gone", "a", roster.Phone),
	inviting("invite nobody", "p-nobody", "a", roster.Phone),
	inviting("invite to another sort", "p-other", "a", "desk"),
	inviting("a station", "", "a", roster.Station),
	inviting("a station with a person", "p-other", "a", roster.Station),
	{"enrol a probe", func(ctx context.Context, h *hub, by string) error {
		_, _, err := h.EnrolProbe(ctx, by, "a", "probe-2", "", nil)
		return err
	}},
	{"enrol a probe of a name that is taken", func(ctx context.Context, h *hub, by string) error {
		_, _, err := h.EnrolProbe(ctx, by, "a", "probe-1", "", nil)
		return err
	}},
	{"enrol a probe that strips braces", func(ctx context.Context, h *hub, by string) error {
		_, _, err := h.EnrolProbe(ctx, by, "a", "probe-2", "", []events.Kind{"brace.stripped"})
		return err
	}},
	{"a probe's new password", func(ctx context.Context, h *hub, by string) error {
		_, _, err := h.NewPassword(ctx, by, events.Source{Site: "a", Device: "probe-1"})
		return err
	}},
	{"a phone's new password", func(ctx context.Context, h *hub, by string) error {
		_, _, err := h.NewPassword(ctx, by, events.Source{Site: "a", Device: "phone-other"})
		return err
	}},
	{"revoke another's phone", func(ctx context.Context, h *hub, by string) error {
		return h.Revoke(ctx, by, events.Source{Site: "a", Device: "phone-other"}, "lost")
	}},
	{"revoke the own phone", func(ctx context.Context, h *hub, by string) error {
		return h.Revoke(ctx, by, events.Source{Site: "a", Device: "phone-of-" + by}, "lost")
	}},
	{"revoke a probe", func(ctx context.Context, h *hub, by string) error {
		return h.Revoke(ctx, by, events.Source{Site: "a", Device: "probe-1"}, "lost")
	}},
	{"revoke the hub", func(ctx context.Context, h *hub, by string) error {
		return h.Revoke(ctx, by, events.Source{Site: "a", Device: events.HubDevice}, "lost")
	}},
}

func inviting(name, person, site, sort string) struct {
	name string
	do   func(ctx context.Context, h *hub, by string) error
} {
	return struct {
		name string
		do   func(ctx context.Context, h *hub, by string) error
	}{name, func(ctx context.Context, h *hub, by string) error {
		_, err := h.Invite(ctx, by, person, site, sort)
		return err
	}}
}

// company is a hub with everybody on it.
func company(t *testing.T) *hub {
	t.Helper()
	h := newHub(t)
	h.appoint(t, "p-other", "a", events.Crew)
	h.appoint(t, "p-both", "a", events.Crew)
	h.appoint(t, "p-both", "b", events.Engineer)
	h.appoint(t, "p-crews", "a", events.Crew)
	h.appoint(t, "p-crews", "b", events.Crew)
	h.appoint(t, "p-leads", "a", events.Crew)
	h.appoint(t, "p-leads", "b", events.Foreman)
	enrol := func(device, person, sort, key string) {
		h.tell(t, "a", "device.enrolled", &events.DeviceEnrolled{Device: device, Person: person, Sort: sort, Key: key})
	}
	enrol("phone-other", "p-other", roster.Phone, newPair(t).public)
	enrol("probe-1", "", events.SortProbe, "")
	for _, a := range actors {
		if a.role != "" {
			h.appoint(t, a.id, a.site, a.role)
			enrol("phone-of-"+a.id, a.id, roster.Phone, newPair(t).public)
		}
	}
	h.retire(t, "p-gone", "_")
	return h
}

func verdict(err error) string {
	var refused *events.Refusal
	switch {
	case err == nil:
		return "yes"
	case errors.Is(err, roster.ErrNotAllowed):
		return "-"
	case errors.Is(err, roster.ErrUnknown):
		return "unknown"
	case errors.Is(err, roster.ErrExists):
		return "exists"
	case errors.As(err, &refused):
		return "refused"
	}
	return err.Error()
}

// Who may do what, as a table that is read by people. An operation that was not
// done has said nothing.
func TestWhoMayDoWhat(t *testing.T) {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprint(w, "who may do what: yes; - not allowed; unknown, exists, refused: asked for in vain\n\n")
	for i, a := range actors {
		_, _ = fmt.Fprintf(w, "%c\t%s\n", 'A'+i, a.name)
	}
	_, _ = fmt.Fprint(w, "\n")
	for i := range actors {
		_, _ = fmt.Fprintf(w, "\t%c", 'A'+i)
	}
	_, _ = fmt.Fprint(w, "\n")
	for _, op := range operations {
		_, _ = fmt.Fprint(w, op.name)
		for _, a := range actors {
			h := company(t)
			before := h.seq
			err := op.do(t.Context(), h, a.id)
			if err != nil {
				require.Equal(t, before, h.seq, "%s by %s: %v", op.name, a.name, err)
			}
			_, _ = fmt.Fprintf(w, "\t%s", verdict(err))
		}
		_, _ = fmt.Fprint(w, "\n")
	}
	require.NoError(t, w.Flush())
	if *update {
		require.NoError(t, os.WriteFile("testdata/allowed.txt", []byte(b.String()), 0o644))
	}
	want, err := os.ReadFile("testdata/allowed.txt")
	require.NoError(t, err)
	require.Equal(t, string(want), b.String(), "write it again with -update, and read what changed")
}
