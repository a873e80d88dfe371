package roster_test

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/cabinet"
)

func TestJoin(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	h.appoint(t, "p-crew", "_", events.Dispatcher)
	ticket, err := h.Invite(t.Context(), "", "p-crew", "a", roster.Phone)
	require.NoError(t, err)
	require.Equal(t, "https://hub.example/join#"+ticket.Code, ticket.Link)
	require.Equal(t, start.Add(15*time.Minute), ticket.Until)

	key := newPair(t)
	out, err := h.Join(t.Context(), key.join(ticket.Code, ""))
	require.NoError(t, err)
	hubKey, err := nkeys.FromPublicKey(out.HubKey)
	require.NoError(t, err)
	require.NoError(t, hubKey.Verify([]byte("x"), mustSign(t, "x")))
	require.Regexp(t, `^phone-[a-z2-7]{4}$`, out.Device)
	require.Equal(t, roster.Joined{
		Site: "a", Device: out.Device, Person: "p-crew", Roles: []events.Role{events.Crew, events.Dispatcher}, HubKey: out.HubKey,
	}, out)
	d, ok := h.reg.Load().ByKey(key.public)
	require.True(t, ok)
	require.Equal(t, events.Source{Site: "a", Device: out.Device}, d.Source)
	require.Equal(t, "p-crew", d.Person)

	_, err = h.Join(t.Context(), newPair(t).join(ticket.Code, ""))
	require.ErrorIs(t, err, cabinet.ErrNoInvitation)
}

func mustSign(t *testing.T, text string) []byte {
	t.Helper()
	kp, err := nkeys.FromRawSeed(nkeys.PrefixByteUser, hubSeed.Seed())
	require.NoError(t, err)
	sig, err := kp.Sign([]byte(text))
	require.NoError(t, err)
	return sig
}

// What a device asks for in vain leaves the code as it was.
func TestJoinRefusesAndLeavesTheCode(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	taken, old := h.phone(t, "p-crew", "a", "phone-1")
	renewed := newPair(t)
	require.NoError(t, h.Rotate(t.Context(), taken, renewed.public, proofs(taken, old, renewed)))
	gone, _ := h.phone(t, "p-crew", "a", "phone-2")
	require.NoError(t, h.Revoke(t.Context(), "", gone, "lost"))

	code, key, other := h.invite(t, "p-crew", "a"), newPair(t), newPair(t)
	good := key.join(code, "")
	for _, tc := range []struct {
		name string
		ask  func() roster.JoinRequest
		want string
	}{
		{"proof by another key", func() roster.JoinRequest { q := good; q.Proof = other.join(code, "").Proof; return q }, "-"},
		{"another key's name", func() roster.JoinRequest { q := good; q.Key = other.public; return q }, "-"},
		{"proof of another code", func() roster.JoinRequest { q := good; q.Proof = key.join("x", "").Proof; return q }, "-"},
		{"no proof", func() roster.JoinRequest { q := good; q.Proof = ""; return q }, "-"},
		{"a proof that is no base64", func() roster.JoinRequest { q := good; q.Proof = "!"; return q }, "-"},
		{"no key", func() roster.JoinRequest { q := good; q.Key = ""; return q }, "refused"},
		{"no user's key", func() roster.JoinRequest { q := good; q.Key = "A" + q.Key[1:]; return q }, "refused"},
		{"a key that is enrolled", func() roster.JoinRequest { return renewed.join(code, "") }, "exists"},
		{"a key that was enrolled", func() roster.JoinRequest { return old.join(code, "") }, "exists"},
		{"a name that is enrolled", func() roster.JoinRequest { return key.join(code, "phone-1") }, "exists"},
		{"a name that was revoked", func() roster.JoinRequest { return key.join(code, "phone-2") }, "exists"},
		{"the hub's name", func() roster.JoinRequest { return key.join(code, "hub") }, "refused"},
		{"a desk's name", func() roster.JoinRequest { return key.join(code, "desk-p-crew") }, "refused"},
		{"no name at all", func() roster.JoinRequest { return key.join(code, "Phone 1") }, "refused"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			before := h.seq
			_, err := h.Join(t.Context(), tc.ask())
			require.Equal(t, tc.want, verdict(err), "%v", err)
			require.Equal(t, before, h.seq)
			_, err = h.cabinet.Peek(code)
			require.NoError(t, err)
		})
	}
	_, err := h.Join(t.Context(), key.join(code, "phone-3"))
	require.NoError(t, err)
}

func TestJoinAfterThingsChanged(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(t *testing.T, h *hub)
		want   error
	}{
		{"the person retired everywhere", func(t *testing.T, h *hub) { h.retire(t, "p-crew", "_") }, roster.ErrUnknown},
		{"the person retired from the site", func(t *testing.T, h *hub) { h.retire(t, "p-crew", "a") }, roster.ErrNotAllowed},
		{"it was retired by the roster", func(t *testing.T, h *hub) {
			require.NoError(t, h.Retire(t.Context(), "", "p-crew", "a", "left"))
		}, cabinet.ErrNoInvitation},
		{"who invited retired", func(t *testing.T, h *hub) { h.retire(t, "p-foreman", "a") }, roster.ErrNotAllowed},
		{"the person is more than who invited", func(t *testing.T, h *hub) {
			h.appoint(t, "p-crew", "a", events.Crew, events.Engineer)
		}, roster.ErrNotAllowed},
		{"15 minutes have passed", func(_ *testing.T, h *hub) { h.at(start.Add(15 * time.Minute)) }, cabinet.ErrNoInvitation},
	} {
		t.Run(tc.name, func(t *testing.T) {
			h := newHub(t)
			h.appoint(t, "p-crew", "a", events.Crew)
			h.appoint(t, "p-foreman", "a", events.Foreman)
			ticket, err := h.Invite(t.Context(), "p-foreman", "p-crew", "a", roster.Phone)
			require.NoError(t, err)
			tc.change(t, h)
			_, err = h.Join(t.Context(), newPair(t).join(ticket.Code, ""))
			require.ErrorIs(t, err, tc.want)
			require.Empty(t, h.reg.Load().Devices())
		})
	}
}

func TestPageIsNoDevice(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	ticket, err := h.Invite(t.Context(), "", "p-crew", "a", roster.Page)
	require.NoError(t, err)
	_, err = h.Join(t.Context(), newPair(t).join(ticket.Code, ""))
	require.ErrorIs(t, err, roster.ErrNotAllowed)
	inv, err := h.cabinet.Peek(ticket.Code)
	require.NoError(t, err)
	require.Equal(t, roster.Page, inv.Sort)
}

// A hundred keys and one code: one device.
func TestOneOfManyJoins(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	code := h.invite(t, "p-crew", "a")
	asks := make([]roster.JoinRequest, 100)
	for i := range asks {
		asks[i] = newPair(t).join(code, "")
	}
	require.Equal(t, 1, winners(t, h, asks, cabinet.ErrNoInvitation))
	require.Len(t, h.reg.Load().Devices(), 1)
}

// A hundred codes and one key, or one name: one device.
func TestOneKeyAndOneNameAtOnce(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	key := newPair(t)
	keys, names := make([]roster.JoinRequest, 50), make([]roster.JoinRequest, 50)
	for i := range keys {
		keys[i] = key.join(h.invite(t, "p-crew", "a"), "")
		names[i] = newPair(t).join(h.invite(t, "p-crew", "a"), "wanted")
	}
	require.Equal(t, 1, winners(t, h, keys, roster.ErrExists))
	require.Equal(t, 1, winners(t, h, names, roster.ErrExists))
	require.Len(t, h.reg.Load().Devices(), 2)
}

func winners(t *testing.T, h *hub, asks []roster.JoinRequest, others error) (won int) {
	t.Helper()
	results, begin := make(chan error, len(asks)), make(chan struct{})
	var all sync.WaitGroup
	for _, q := range asks {
		all.Go(func() {
			<-begin
			_, err := h.Join(t.Context(), q)
			results <- err
		})
	}
	close(begin)
	all.Wait()
	for range asks {
		if err := <-results; err == nil {
			won++
		} else {
			require.ErrorIs(t, err, others)
		}
	}
	return won
}

// The answer was lost on the way: the same request gets it again, no other does.
func TestJoinAgain(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	code, key := h.invite(t, "p-crew", "a"), newPair(t)
	first, err := h.Join(t.Context(), key.join(code, ""))
	require.NoError(t, err)
	before := h.seq
	again, err := h.Join(t.Context(), key.join(code, ""))
	require.NoError(t, err)
	require.Equal(t, first, again)
	require.Equal(t, before, h.seq)
	_, err = h.Join(t.Context(), newPair(t).join(code, ""))
	require.ErrorIs(t, err, cabinet.ErrNoInvitation)
	_, err = h.Join(t.Context(), key.join(h.invite(t, "p-crew", "a"), ""))
	require.ErrorIs(t, err, roster.ErrExists, "another code")
	h.at(start.Add(15 * time.Minute))
	_, err = h.Join(t.Context(), key.join(code, ""))
	require.ErrorIs(t, err, roster.ErrExists, "the code would have ended")
	h.at(start)
	require.NoError(t, h.Revoke(t.Context(), "", events.Source{Site: "a", Device: first.Device}, "lost"))
	_, err = h.Join(t.Context(), key.join(code, ""))
	require.ErrorIs(t, err, roster.ErrExists, "revoked since")
}

func TestJoinOverABadLine(t *testing.T) {
	for _, applied := range []bool{false, true} {
		h := newHub(t)
		h.appoint(t, "p-crew", "a", events.Crew)
		code, key := h.invite(t, "p-crew", "a"), newPair(t)
		h.next(applied)
		_, err := h.Join(t.Context(), key.join(code, ""))
		require.ErrorIs(t, err, roster.ErrUnsure)
		require.ErrorIs(t, err, errLine)
		_, err = h.Join(t.Context(), newPair(t).join(code, ""))
		require.ErrorIs(t, err, cabinet.ErrNoInvitation, "whether it was used nobody knows, so it was")
		out, err := h.Join(t.Context(), key.join(code, ""))
		if applied {
			require.NoError(t, err)
			require.Equal(t, "p-crew", out.Person)
			continue
		}
		require.ErrorIs(t, err, cabinet.ErrNoInvitation)
		require.Empty(t, h.reg.Load().Devices())
	}
}

func TestStation(t *testing.T) {
	h := newHub(t)
	ticket, err := h.EnrolStation(t.Context(), "", "a", "mast", []events.Kind{"wind.read"})
	require.NoError(t, err)
	key := newPair(t)
	_, err = h.Join(t.Context(), key.join(ticket.Code, "other"))
	require.Equal(t, "refused", verdict(err), "%v", err)
	out, err := h.Join(t.Context(), key.join(ticket.Code, ""))
	require.NoError(t, err)
	require.Equal(t, []any{"a", "mast", "", []events.Role{events.Probe}}, []any{out.Site, out.Device, out.Person, out.Roles})
	a, err := h.Admit(stream.Claim{Key: key.public})
	require.NoError(t, err)
	require.Equal(t, stream.Admission{Source: events.Source{Site: "a", Device: "mast"}, Kinds: []events.Kind{"device.reported", "wind.read"}}, a)

	_, err = h.EnrolStation(t.Context(), "", "a", "mast", nil)
	require.ErrorIs(t, err, roster.ErrExists)
	_, err = h.EnrolStation(t.Context(), "", "a", "", []events.Kind{"hold.released"})
	require.Equal(t, "refused", verdict(err))
	_, err = h.EnrolStation(t.Context(), "", "no site", "", nil)
	require.Equal(t, "refused", verdict(err))
}

func proofs(src events.Source, old, new pair) roster.Proofs {
	text := roster.RotateProof(src, new.public)
	return roster.Proofs{Old: old.prove(text), New: new.prove(text)}
}

func TestRotate(t *testing.T) {
	h := newHub(t)
	h.appoint(t, "p-crew", "a", events.Crew)
	src, old := h.phone(t, "p-crew", "a", "")
	_, others := h.phone(t, "p-crew", "a", "")
	key, wrong := newPair(t), newPair(t)
	for _, tc := range []struct {
		name string
		key  string
		with roster.Proofs
		want string
	}{
		{"the old key's proof is missing", key.public, roster.Proofs{New: proofs(src, old, key).New}, "-"},
		{"the new key's proof is missing", key.public, roster.Proofs{Old: proofs(src, old, key).Old}, "-"},
		{"the old proof is by the new key", key.public, proofs(src, key, key), "-"},
		{"the old proof is by another's key", key.public, proofs(src, others, key), "-"},
		{"for another key", key.public, proofs(src, old, wrong), "-"},
		{"for another device", key.public, proofs(events.Source{Site: "b", Device: src.Device}, old, key), "-"},
		{"a key that another has", others.public, proofs(src, old, others), "exists"},
		{"no key", "U", proofs(src, old, key), "refused"},
	} {
		before := h.seq
		require.Equal(t, tc.want, verdict(h.Rotate(t.Context(), src, tc.key, tc.with)), tc.name)
		require.Equal(t, before, h.seq, tc.name)
	}
	session, err := h.cabinet.Begin(cabinet.Session{Person: "p-crew", Device: src})
	require.NoError(t, err)
	require.NoError(t, h.Rotate(t.Context(), src, key.public, proofs(src, old, key)))
	_, err = h.cabinet.Session(session)
	require.ErrorIs(t, err, cabinet.ErrNoSession)
	_, err = h.Admit(stream.Claim{Key: old.public})
	require.ErrorIs(t, err, stream.ErrNotAdmitted)
	a, err := h.Admit(stream.Claim{Key: key.public})
	require.NoError(t, err)
	require.Equal(t, src, a.Source)

	before := h.seq
	require.NoError(t, h.Rotate(t.Context(), src, key.public, proofs(src, old, key)), "the answer was lost")
	require.Equal(t, before, h.seq)
	require.Equal(t, "exists", verdict(h.Rotate(t.Context(), src, old.public, proofs(src, key, old))), "back to the old one")
	require.NoError(t, h.Revoke(t.Context(), "p-crew", src, "lost"))
	require.Equal(t, "unknown", verdict(h.Rotate(t.Context(), src, wrong.public, proofs(src, key, wrong))))
	_, _, err = h.EnrolProbe(t.Context(), "", "a", "probe", "", nil)
	require.NoError(t, err)
	probe := events.Source{Site: "a", Device: "probe"}
	require.Equal(t, "-", verdict(h.Rotate(t.Context(), probe, wrong.public, proofs(probe, key, wrong))))
	require.True(t, errors.Is(h.Rotate(t.Context(), events.Source{Site: "a", Device: "x"}, "", roster.Proofs{}), roster.ErrUnknown))
}
