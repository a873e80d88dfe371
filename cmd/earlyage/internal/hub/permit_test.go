package hub_test

import (
	"testing"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
)

// A permit to strip that would not stand is refused at the page, with the reasons;
// one that a device signed is kept, and so is one to pour.
func TestAnEarlyPermitIsRefusedAtThePage(t *testing.T) {
	c := openCompany(t, nil)
	id := c.phone(c.person("A safety officer", api.Roles{"mill": {events.Officer}}), "mill")
	client := c.as(id)
	enter := func(d *events.PermitIssued) (out api.Entered, err error) {
		data, err := events.EncodeData(d)
		require.NoError(t, err)
		err = client.Post(t.Context(), api.PathEntries, api.Entry{Site: "mill", Wall: "w1", Kind: "permit.issued", Data: jsontext.Value(data)}, &out)
		return out, err
	}
	early := &events.PermitIssued{Number: "s-1", For: "strip"}
	_, err := enter(early)
	require.Equal(t, api.CodeRefused, code(err))
	for _, why := range []string{"complete is not met", "floor is not met", "temperature is not met"} {
		require.ErrorContains(t, err, why)
	}
	out, err := enter(&events.PermitIssued{Number: "s-2", For: "pour"})
	require.NoError(t, err)
	require.Nil(t, out.Refused)

	e := made(id, "permit.issued", "w1", early)
	body := encodedBody(t, e)
	_, err = client.PostEvent(t.Context(), body, id.Sign(body))
	require.NoError(t, err)
	settle(t, c.hub)
	require.Empty(t, c.refused())
}
