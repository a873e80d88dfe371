package cabinet_test

import (
	"encoding/base64"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/cabinet"
)

func invitation() cabinet.Invitation {
	return cabinet.Invitation{
		Person: "p-abcdefgh", Site: "north-7", Sort: "phone", By: "p-keeper22",
		Device: "logger-1", Kinds: []events.Kind{"wind.read"},
	}
}

func TestInvitationIsKeptWhole(t *testing.T) {
	c, _, s := newCabinet(t)
	code, until, err := c.Invite(invitation())
	require.NoError(t, err)
	require.Equal(t, start.Add(15*time.Minute), until)
	require.Regexp(t, `^([0-9a-hjkmnp-tv-z]{5}-){4}[0-9a-hjkmnp-tv-z]{6}$`, code)

	want := invitation()
	want.Until = until
	for range 2 {
		inv, err := c.Peek(code)
		require.NoError(t, err)
		require.Equal(t, want, inv)
	}
	again, err := cabinet.New(open(t, copyOf(t, s)), newClock().Now)
	require.NoError(t, err)
	inv, err := again.Peek(code)
	require.NoError(t, err, "after a restart")
	require.Equal(t, want, inv)
}

func TestCodeAsPeopleTypeIt(t *testing.T) {
	c, _, _ := newCabinet(t)
	code, _, err := c.Invite(invitation())
	require.NoError(t, err)
	typed := strings.NewReplacer("0", "O", "1", "l").Replace(code)
	for _, s := range []string{
		strings.ToUpper(code), strings.ReplaceAll(code, "-", ""), strings.ReplaceAll(code, "-", " "), " " + code + "\n",
		typed, strings.ReplaceAll(typed, "l", "I"),
	} {
		_, err := c.Peek(s)
		require.NoError(t, err, "%q", s)
	}
	for _, s := range []string{"", "-", code[:len(code)-1], code + "0", "u" + code[1:], strings.Repeat("é", 26), strings.Repeat("0", 26)} {
		_, err := c.Peek(s)
		require.ErrorIs(t, err, cabinet.ErrNoInvitation, "%q", s)
		require.ErrorIs(t, c.Redeem(s, nil), cabinet.ErrNoInvitation, "%q", s)
	}
}

func TestCodeHasOneSpelling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		raw := rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "raw")
		code := cabinet.WriteCode(raw)
		require.Equal(t, raw, cabinet.ReadCode(code))
		// Another letter anywhere is another code or none.
		at := rapid.IntRange(0, len(code)-1).Draw(t, "at")
		other := rapid.SampledFrom([]byte("0123456789abcdefghjkmnpqrstvwxyz")).Draw(t, "other")
		if code[at] != '-' && code[at] != other {
			require.NotEqual(t, raw, cabinet.ReadCode(code[:at]+string(other)+code[at+1:]))
		}
	})
}

func TestInvitationEndsAtItsLastMoment(t *testing.T) {
	for _, tc := range []struct {
		name  string
		after time.Duration
		good  bool
	}{
		{"at once", 0, true}, {"a nanosecond before the end", 15*time.Minute - 1, true},
		{"at the end", 15 * time.Minute, false}, {"after it", 24 * time.Hour, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c, at, _ := newCabinet(t)
			code, _, err := c.Invite(invitation())
			require.NoError(t, err)
			at.add(tc.after)
			_, err = c.Peek(code)
			used := false
			redeemed := c.Redeem(code, func(cabinet.Invitation) error { used = true; return nil })
			require.Equal(t, tc.good, used)
			if tc.good {
				require.NoError(t, errors.Join(err, redeemed))
				return
			}
			require.ErrorIs(t, err, cabinet.ErrNoInvitation)
			require.ErrorIs(t, redeemed, cabinet.ErrNoInvitation)
		})
	}
}

func TestOneOfManyRedeems(t *testing.T) {
	c, _, _ := newCabinet(t)
	code, _, err := c.Invite(invitation())
	require.NoError(t, err)
	var used sync.Map
	var all sync.WaitGroup
	results := make(chan error, 100)
	begin := make(chan struct{})
	for i := range cap(results) {
		all.Go(func() {
			<-begin
			results <- c.Redeem(code, func(cabinet.Invitation) error { used.Store(i, true); return nil })
		})
	}
	close(begin)
	all.Wait()
	won := 0
	for range cap(results) {
		if err := <-results; err == nil {
			won++
		} else {
			require.ErrorIs(t, err, cabinet.ErrNoInvitation)
		}
	}
	n := 0
	used.Range(func(any, any) bool { n++; return true })
	require.Equal(t, []int{1, 1}, []int{won, n})
}

// While a code is being used nobody else can use it; what comes of it decides.
func TestWhatUseSays(t *testing.T) {
	errName := errors.New("the name is taken")
	for _, tc := range []struct {
		name string
		says error
		good bool // afterwards
	}{
		{"it took", nil, false},
		{"it did not take", errName, true},
		{"nobody knows", errors.Join(errName, cabinet.ErrSpent), false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c, at, _ := newCabinet(t)
			code, _, err := c.Invite(invitation())
			require.NoError(t, err)
			err = c.Redeem(code, func(inv cabinet.Invitation) error {
				require.Equal(t, "p-abcdefgh", inv.Person)
				_, peek := c.Peek(code)
				require.ErrorIs(t, peek, cabinet.ErrNoInvitation)
				require.ErrorIs(t, c.Redeem(code, nil), cabinet.ErrNoInvitation)
				return tc.says
			})
			require.ErrorIs(t, err, tc.says)
			_, err = c.Peek(code)
			if !tc.good {
				require.ErrorIs(t, err, cabinet.ErrNoInvitation)
				return
			}
			require.NoError(t, err)
			at.add(15 * time.Minute)
			_, err = c.Peek(code)
			require.ErrorIs(t, err, cabinet.ErrNoInvitation, "its old end stands")
		})
	}
}

func TestCrashInUseSpendsTheCode(t *testing.T) {
	c, _, s := newCabinet(t)
	code, _, err := c.Invite(invitation())
	require.NoError(t, err)
	var crashed string
	require.NoError(t, c.Redeem(code, func(cabinet.Invitation) error { crashed = copyOf(t, s); return nil }))
	again, err := cabinet.New(open(t, crashed), newClock().Now)
	require.NoError(t, err)
	require.ErrorIs(t, again.Redeem(code, nil), cabinet.ErrNoInvitation)
}

func TestRedeemOnAFailingDisk(t *testing.T) {
	for _, applied := range []bool{false, true} {
		c, _, s := newCabinet(t)
		code, _, err := c.Invite(invitation())
		require.NoError(t, err)
		s.next(1, applied)
		require.ErrorIs(t, c.Redeem(code, nil), errDisk, "use must not run: it would panic")
		_, err = c.Peek(code)
		require.Equal(t, applied, errors.Is(err, cabinet.ErrNoInvitation))

		code, _, err = c.Invite(invitation())
		require.NoError(t, err)
		errName := errors.New("the name is taken")
		s.next(2, applied)
		err = c.Redeem(code, func(cabinet.Invitation) error { return errName })
		require.ErrorIs(t, err, errName)
		require.ErrorIs(t, err, errDisk, "the code could not be given back")
	}
	c, _, s := newCabinet(t)
	s.next(1, true)
	code, until, err := c.Invite(invitation())
	require.ErrorIs(t, err, errDisk)
	require.Zero(t, code)
	require.Zero(t, until)
}

func TestDropInvitations(t *testing.T) {
	c, _, _ := newCabinet(t)
	for_ := func(person, by string) string {
		code, _, err := c.Invite(cabinet.Invitation{Person: person, Site: "a", Sort: "page", By: by})
		require.NoError(t, err)
		return code
	}
	gone := []string{for_("p-a", "p-k"), for_("p-a", ""), for_("p-b", "p-a")}
	stays := for_("p-b", "p-k")
	require.NoError(t, c.DropInvitations("p-a"))
	for _, code := range gone {
		_, err := c.Peek(code)
		require.ErrorIs(t, err, cabinet.ErrNoInvitation)
	}
	_, err := c.Peek(stays)
	require.NoError(t, err)
}

// The file holds nothing by which its reader could get in.
func TestNothingThatLetsInIsKept(t *testing.T) {
	c, _, s := newCabinet(t)
	code, _, err := c.Invite(invitation())
	require.NoError(t, err)
	token, err := c.Begin(cabinet.Session{Person: "p-abcdefgh"})
	require.NoError(t, err)
	password := strings.Repeat("pass-w0rd.", 4)
	require.NoError(t, c.SetSecret(events.Source{Site: "a", Device: "probe-1"}, password))
	raw, err := base64.RawURLEncoding.DecodeString(token)
	require.NoError(t, err)
	file := copyOf(t, s)
	for name, text := range map[string]string{
		"code": code, "code in one": strings.ReplaceAll(code, "-", ""), "code's bits": string(cabinet.ReadCode(code)),
		"token": token, "token's bits": string(raw), "password": password,
	} {
		require.False(t, legible(t, file, text), "%s in the copy", name)
		require.False(t, legible(t, s.Path(), text), "%s in the file", name)
	}
	require.True(t, legible(t, file, "p-abcdefgh"), "the search finds what is there")
}

// A demo's invitations last; the same code in a cabinet without that is spent.
func TestLastingInvitation(t *testing.T) {
	c, _, _ := newCabinet(t)
	lasting := c.WithLimits(cabinet.Limits{Lasting: true})
	code, _, err := lasting.Invite(invitation())
	require.NoError(t, err)
	used := 0
	use := func(cabinet.Invitation) error { used++; return nil }
	for range 3 {
		require.NoError(t, lasting.Redeem(code, use))
	}
	require.NoError(t, c.Redeem(code, use))
	require.ErrorIs(t, c.Redeem(code, use), cabinet.ErrNoInvitation)
	require.ErrorIs(t, lasting.Redeem(code, use), cabinet.ErrNoInvitation)
	require.Equal(t, 4, used)
}
