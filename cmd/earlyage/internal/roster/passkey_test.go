package roster_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
)

// A passkey stands on the record, with who invited to it.
func TestPasskeysStandOnTheRecord(t *testing.T) {
	h := company(t)
	require.NoError(t, h.PasskeyMade(t.Context(), "p-officer", "p-crew"))
	require.Contains(t, h.bodies.String(), `"type":"earlyage.passkey.made.v1"`)
	require.Contains(t, h.bodies.String(), `"by":"p-officer"`)
	require.NoError(t, h.PasskeysEnded(t.Context(), "", "p-crew", "lost"))
	require.Contains(t, h.bodies.String(), `"type":"earlyage.passkey.ended.v1"`)
}

// Who may not invite to a passkey when it is made leaves no word, whatever was so
// when the invitation was: roles change within a quarter of an hour.
func TestAPasskeyIsJudgedWhenItIsMade(t *testing.T) {
	for name, tc := range map[string]struct {
		by, person string
		change     func(h *hub)
		want       error
	}{
		"an officer for an officer":           {"p-officer", "p-allsites", nil, roster.ErrNotAllowed},
		"an officer for one who became one":   {"p-officer", "p-crew", func(h *hub) { h.appoint(t, "p-crew", "a", events.Officer) }, roster.ErrNotAllowed},
		"an officer for who is one elsewhere": {"p-officer", "p-crew", func(h *hub) { h.appoint(t, "p-crew", "b", events.Engineer) }, roster.ErrNotAllowed},
		"an officer who is none any more":     {"p-officer", "p-crew", func(h *hub) { h.retire(t, "p-officer", "a") }, roster.ErrNotAllowed},
		"crew for crew":                       {"p-crew", "p-other", nil, roster.ErrNotAllowed},
		"a foreman of another site":           {"p-elsewhere", "p-crew", nil, roster.ErrNotAllowed},
		"for one who left":                    {"", "p-gone", nil, roster.ErrUnknown},
		"for nobody":                          {"", "p-nobody", nil, roster.ErrUnknown},
	} {
		t.Run(name, func(t *testing.T) {
			h := company(t)
			if tc.change != nil {
				tc.change(h)
			}
			before := h.seq
			require.ErrorIs(t, h.PasskeyMade(t.Context(), tc.by, tc.person), tc.want)
			require.ErrorIs(t, h.PasskeysEnded(t.Context(), tc.by, tc.person, "lost"), tc.want)
			require.Equal(t, before, h.seq)
		})
	}
}

// Nobody hands out the invitation of somebody who could countersign what the one
// who hands it out enters: the code could be used by the one who made it.
func TestNobodyInvitesAnOwnSecondPerson(t *testing.T) {
	h := company(t)
	for _, by := range actors {
		if by.role == "" || by.role == events.Keeper {
			continue
		}
		for _, role := range events.Kind("record.countersigned").Recorders() {
			person := "p-second-" + string(role)
			h.appoint(t, person, "a", role)
			for _, sort := range []string{roster.Phone, roster.Page} {
				_, err := h.Invite(t.Context(), by.id, person, "a", sort)
				require.ErrorIs(t, err, roster.ErrNotAllowed, "%s invites %s to a %s", by.name, role, sort)
			}
		}
	}
}
