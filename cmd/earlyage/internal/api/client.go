package api

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/events"
	"earlyage/events/stream"
)

// Client asks one hub. Dial makes one that signs in; without that it is nobody,
// to whom a hub says little. Safe for concurrent use.
type Client struct {
	Hub  string // http://host:port
	HTTP *http.Client

	login *login // nil: none
}

const (
	askTimeout = 30 * time.Second
	maxAnswer  = 256 << 20 // bytes; ten thousand walls are about 30 MB
	maxChange  = 64 << 20
)

// Get asks for a path and reads the answer into one of the shapes. It returns
// the bytes of the answer too. An answer that is no success is a *Problem.
func (c Client) Get(ctx context.Context, path string, query url.Values, into any) ([]byte, error) {
	// An unhealthy hub answers 503 with the same shape.
	return c.exchange(ctx, question{method: http.MethodGet, path: path, query: query, also: healthAlso(path)}, into)
}

func healthAlso(path string) int {
	if path == PathHealth {
		return http.StatusServiceUnavailable
	}
	return 0
}

// Post sends a body, as JSON, and reads the answer into one of the shapes; a nil
// into takes none.
func (c Client) Post(ctx context.Context, path string, body, into any) error {
	text, err := json.Marshal(body, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("tell hub %s: %w", path, err)
	}
	_, err = c.exchange(ctx, question{method: http.MethodPost, path: path, body: text, contentType: "application/json"}, into)
	return err
}

// PostLong is Post for what may take the hub up to an hour.
func (c Client) PostLong(ctx context.Context, path string, body, into any) error {
	text, err := json.Marshal(body, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("tell hub %s: %w", path, err)
	}
	_, err = c.exchange(ctx, question{method: http.MethodPost, path: path, body: text, contentType: "application/json", within: time.Hour}, into)
	return err
}

// Delete ends what stands at a path.
func (c Client) Delete(ctx context.Context, path string) error {
	_, err := c.exchange(ctx, question{method: http.MethodDelete, path: path}, nil)
	return err
}

// PostEvent sends an event's exact bytes under the signature of its device. The
// same event sent again, after a lost answer, is answered as the first time.
func (c Client) PostEvent(ctx context.Context, body []byte, signature string) (Accepted, error) {
	var out Accepted
	_, err := c.exchange(ctx, question{
		method: http.MethodPost, path: PathEvents, body: body, contentType: events.ContentType, signature: signature,
	}, &out)
	return out, err
}

// Picture asks for a picture of a wall and returns the SVG.
func (c Client) Picture(ctx context.Context, path string, query url.Values) ([]byte, error) {
	return c.exchange(ctx, question{method: http.MethodGet, path: path, query: query}, nil)
}

// question is one request.
type question struct {
	method, path           string
	query                  url.Values
	body                   []byte
	contentType, signature string
	also                   int           // a further status whose body has the shape
	within                 time.Duration // default askTimeout
}

// exchange asks and reads the whole answer.
func (c Client) exchange(ctx context.Context, q question, into any) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, cmp.Or(q.within, askTimeout))
	defer cancel()
	resp, err := c.do(ctx, q)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
	if err != nil {
		return nil, fmt.Errorf("ask hub %s: %w", q.path, err)
	}
	if resp.StatusCode/100 != 2 && resp.StatusCode != q.also {
		return nil, fmt.Errorf("ask hub %s: %w", q.path, readProblem(resp.StatusCode, resp.Header.Get("Content-Type"), body))
	}
	if into == nil {
		return body, nil
	}
	if err := json.Unmarshal(body, into); err != nil {
		return nil, fmt.Errorf("ask hub %s: read the answer: %w", q.path, err)
	}
	return body, nil
}

// do sends a request, with the token of a session where there is a login; a
// session that has ended is begun anew, once.
func (c Client) do(ctx context.Context, q question) (*http.Response, error) {
	if c.login == nil {
		return c.send(ctx, q, "")
	}
	token, err := c.login.token(ctx, c, "")
	if err != nil {
		return nil, err
	}
	resp, err := c.send(ctx, q, token)
	if err != nil || resp.StatusCode != http.StatusUnauthorized {
		return resp, err
	}
	resp.Body.Close()
	if token, err = c.login.token(ctx, c, token); err != nil {
		return nil, err
	}
	return c.send(ctx, q, token)
}

func (c Client) send(ctx context.Context, q question, token string) (*http.Response, error) {
	base, err := url.Parse(c.Hub)
	if err != nil || base.Host == "" || base.Scheme != "http" && base.Scheme != "https" {
		return nil, fmt.Errorf("ask hub: %q is no address such as http://127.0.0.1:8480", c.Hub)
	}
	u := base.JoinPath(q.path)
	u.RawQuery = q.query.Encode()
	req, err := http.NewRequestWithContext(ctx, q.method, u.String(), bytes.NewReader(q.body))
	if err != nil {
		return nil, fmt.Errorf("ask hub %s: %w", q.path, err)
	}
	for name, value := range map[string]string{"Content-Type": q.contentType, stream.SignatureHeader: q.signature} {
		if value != "" {
			req.Header.Set(name, value)
		}
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	client := c.HTTP
	if client == nil {
		client = http.DefaultClient
	}
	resp, err := client.Do(req)
	if err != nil {
		return nil, fmt.Errorf("ask hub (is it running? earlyage serve): %w", err)
	}
	return resp, nil
}

// Watch calls tell with every change until ctx ends, tell fails or the hub
// goes. The first change holds the whole picture.
func (c Client) Watch(ctx context.Context, tell func(Changed, []byte) error) error {
	resp, err := c.do(ctx, question{method: http.MethodGet, path: PathWatch})
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		body, _ := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
		return fmt.Errorf("watch hub: %w", readProblem(resp.StatusCode, resp.Header.Get("Content-Type"), body))
	}
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, maxChange)
	for lines.Scan() {
		data, ok := bytes.CutPrefix(lines.Bytes(), []byte("data: "))
		if !ok {
			continue // an event stream's comments, names and blank lines
		}
		var ch Changed
		if err := json.Unmarshal(data, &ch); err != nil {
			return fmt.Errorf("watch hub: read a change: %w", err)
		}
		if err := tell(ch, data); err != nil {
			return err
		}
	}
	if ctx.Err() != nil {
		return nil
	}
	return errors.Join(errors.New("watch hub: it closed the connection"), lines.Err())
}

// WallPath is the path of one wall.
func WallPath(site, wall string) string { return joined(PathWalls, site, wall) }

// PersonPath is the path under which a person is changed: /roles, /contact, /retire.
func PersonPath(person string) string { return joined(PathPeople, person) }

// DevicePath is the path under which a device is changed: /revoke, /rotate.
func DevicePath(src events.Source) string { return joined(PathDevices, src.Site, src.Device) }

func joined(path string, parts ...string) string {
	for _, p := range parts {
		path += "/" + url.PathEscape(p)
	}
	return path
}

// trim is an address without the slash at its end.
func trim(address string) string { return strings.TrimRight(address, "/") }
