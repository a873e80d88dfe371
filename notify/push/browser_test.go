package push_test

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"math/big"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/notice"
)

// browser is the other end of a subscription, written from RFC 8291 and RFC 8188
// and not from the library that is tested.
type browser struct {
	key  *ecdh.PrivateKey
	auth []byte
}

func newBrowser(t testing.TB) browser {
	t.Helper()
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	require.NoError(t, err)
	auth := make([]byte, 16)
	_, err = rand.Read(auth)
	require.NoError(t, err)
	return browser{key, auth}
}

// subscribe is what the browser gives to the page.
func (b browser) subscribe(endpoint string) notice.Push {
	enc := base64.RawURLEncoding
	return notice.Push{
		Device: events.Source{Site: "mill", Device: "phone-1"}, Endpoint: endpoint,
		P256DH: enc.EncodeToString(b.key.PublicKey().Bytes()), Auth: enc.EncodeToString(b.auth),
	}
}

// decrypt opens a body of the coding aes128gcm: RFC 8291, 3.3 and 3.4, and RFC
// 8188, 2.1 to 2.3.
func (b browser) decrypt(body []byte) ([]byte, error) {
	if len(body) < 21 {
		return nil, errors.New("no header")
	}
	salt, size, n := body[:16], binary.BigEndian.Uint32(body[16:20]), int(body[20])
	if n != 65 || len(body) < 21+n {
		return nil, fmt.Errorf("key id of %d bytes", n)
	}
	sender, record := body[21:21+n], body[21+n:]
	if size < 18 || uint32(len(record)) > size {
		return nil, fmt.Errorf("record of %d bytes, said %d", len(record), size)
	}
	point, err := ecdh.P256().NewPublicKey(sender)
	if err != nil {
		return nil, err
	}
	shared, err := b.key.ECDH(point)
	if err != nil {
		return nil, err
	}
	info := bytes.Join([][]byte{[]byte("WebPush: info\x00"), b.key.PublicKey().Bytes(), sender}, nil)
	secret, err := hkdf.Key(sha256.New, shared, b.auth, string(info), 32)
	if err != nil {
		return nil, err
	}
	cek, err1 := hkdf.Key(sha256.New, secret, salt, "Content-Encoding: aes128gcm\x00", 16)
	nonce, err2 := hkdf.Key(sha256.New, secret, salt, "Content-Encoding: nonce\x00", 12)
	block, err3 := aes.NewCipher(cek)
	if err := errors.Join(err1, err2, err3); err != nil {
		return nil, err
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		return nil, err
	}
	text, err := gcm.Open(nil, nonce, record, nil)
	if err != nil {
		return nil, err
	}
	text = bytes.TrimRight(text, "\x00")
	if len(text) == 0 || text[len(text)-1] != 2 {
		return nil, errors.New("the last record does not end as one")
	}
	return text[:len(text)-1], nil
}

// The example of RFC 8291, section 5 and Appendix A. The values are from memory;
// the tag of the cipher holds only if each of them is right.
func TestRFC8291Example(t *testing.T) {
	decode := func(text string) []byte {
		raw, err := base64.RawURLEncoding.DecodeString(text)
		require.NoError(t, err)
		return raw
	}
	key, err := ecdh.P256().NewPrivateKey(decode("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"))
	require.NoError(t, err)
	require.Equal(t, decode("BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"), key.PublicKey().Bytes())
	body := decode("DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN")
	text, err := browser{key, decode("BTBZMqHH6r4Tts7J_aSIgg")}.decrypt(body)
	require.NoError(t, err)
	require.Equal(t, "When I grow up, I want to be a watermelon", string(text))
	body[len(body)-1] ^= 1
	_, err = browser{key, decode("BTBZMqHH6r4Tts7J_aSIgg")}.decrypt(body)
	require.Error(t, err)
}

// claims are what the hub says of itself to a push service.
type claims struct {
	Aud string `json:"aud"`
	Exp int64  `json:"exp"`
	Sub string `json:"sub"`
}

// believe checks an Authorization as a push service does: RFC 8292, 2 and 3, and
// RFC 7515 with ES256.
func believe(h http.Header, public, origin string, now time.Time) (claims, error) {
	var c claims
	rest, ok := strings.CutPrefix(h.Get("Authorization"), "vapid ")
	if !ok {
		return c, errors.New("not the scheme vapid")
	}
	params := map[string]string{}
	for part := range strings.SplitSeq(rest, ",") {
		k, v, _ := strings.Cut(strings.TrimSpace(part), "=")
		params[k] = v
	}
	if params["k"] != public {
		return c, errors.New("another key")
	}
	parts := strings.Split(params["t"], ".")
	if len(parts) != 3 {
		return c, errors.New("no token")
	}
	var raw [3][]byte
	for i, p := range parts {
		var err error
		if raw[i], err = base64.RawURLEncoding.DecodeString(p); err != nil {
			return c, err
		}
	}
	var head struct {
		Typ string `json:"typ"`
		Alg string `json:"alg"`
	}
	if err := errors.Join(json.Unmarshal(raw[0], &head), json.Unmarshal(raw[1], &c)); err != nil {
		return c, err
	}
	if head.Typ != "JWT" || head.Alg != "ES256" || len(raw[2]) != 64 {
		return c, fmt.Errorf("token %+v", head)
	}
	point, err := base64.RawURLEncoding.DecodeString(public)
	if err != nil {
		return c, err
	}
	key, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), point)
	if err != nil {
		return c, err
	}
	sum := sha256.Sum256([]byte(parts[0] + "." + parts[1]))
	if !ecdsa.Verify(key, sum[:], new(big.Int).SetBytes(raw[2][:32]), new(big.Int).SetBytes(raw[2][32:])) {
		return c, errors.New("the token's signature does not hold")
	}
	exp := time.Unix(c.Exp, 0)
	switch {
	case c.Aud != origin:
		return c, fmt.Errorf("audience %q", c.Aud)
	case !exp.After(now) || exp.After(now.Add(24*time.Hour)):
		return c, fmt.Errorf("expiry %v", exp)
	case !strings.HasPrefix(c.Sub, "mailto:") && !strings.HasPrefix(c.Sub, "https://"):
		return c, fmt.Errorf("contact %q", c.Sub)
	}
	return c, nil
}
