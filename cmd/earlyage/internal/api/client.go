package api

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
)

// ErrNotFound says that the hub knows no such wall.
var ErrNotFound = errors.New("not found")

// Client asks one hub.
type Client struct {
	Hub  string // http://host:port
	HTTP *http.Client
}

const (
	askTimeout = 30 * time.Second
	maxAnswer  = 256 << 20 // bytes; ten thousand walls are about 30 MB
	maxChange  = 64 << 20
)

// Get asks for a path and reads the answer into one of the shapes. It returns
// the bytes of the answer too.
func (c Client) Get(ctx context.Context, path string, query url.Values, into any) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, askTimeout)
	defer cancel()
	resp, err := c.do(ctx, path, query)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
	if err != nil {
		return nil, fmt.Errorf("ask hub %s: %w", path, err)
	}
	// An unhealthy hub answers 503 with the same shape.
	if resp.StatusCode != http.StatusOK && (path != PathHealth || resp.StatusCode != http.StatusServiceUnavailable) {
		return nil, trouble(path, resp.StatusCode, body)
	}
	if err := json.Unmarshal(body, into); err != nil {
		return nil, fmt.Errorf("ask hub %s: read the answer: %w", path, err)
	}
	return body, nil
}

// Picture asks for a picture of a wall and returns the SVG.
func (c Client) Picture(ctx context.Context, path string, query url.Values) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, askTimeout)
	defer cancel()
	resp, err := c.do(ctx, path, query)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
	if err != nil {
		return nil, fmt.Errorf("ask hub %s: %w", path, err)
	}
	if resp.StatusCode != http.StatusOK {
		return nil, trouble(path, resp.StatusCode, body)
	}
	return body, nil
}

func (c Client) do(ctx context.Context, path string, query url.Values) (*http.Response, error) {
	base, err := url.Parse(c.Hub)
	if err != nil || base.Host == "" || base.Scheme != "http" && base.Scheme != "https" {
		return nil, fmt.Errorf("ask hub: %q is no address such as http://127.0.0.1:8480", c.Hub)
	}
	u := base.JoinPath(path)
	u.RawQuery = query.Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, u.String(), nil)
	if err != nil {
		return nil, fmt.Errorf("ask hub %s: %w", path, err)
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

func trouble(path string, status int, body []byte) error {
	var t Trouble
	if err := json.Unmarshal(body, &t); err != nil || t.Message == "" {
		return fmt.Errorf("ask hub %s: status %d", path, status)
	}
	if status == http.StatusNotFound {
		return fmt.Errorf("%s: %w", t.Message, ErrNotFound)
	}
	return fmt.Errorf("ask hub %s: %s", path, t.Message)
}

// Watch calls tell with every change until ctx ends, tell fails or the hub
// goes. The first change holds the whole picture.
func (c Client) Watch(ctx context.Context, tell func(Changed, []byte) error) error {
	resp, err := c.do(ctx, PathWatch, nil)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		body, _ := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
		return trouble(PathWatch, resp.StatusCode, body)
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
func WallPath(site, wall string) string {
	return strings.Join([]string{PathWalls, url.PathEscape(site), url.PathEscape(wall)}, "/")
}
