package stream

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
)

// ErrNotSynced is wrapped by CheckSync when a server acknowledges before the
// disk has the event.
var ErrNotSynced = errors.New("server acknowledges before the event is on the disk")

const (
	monitorWait = 5 * time.Second
	monitorMost = 4 << 20 // bytes of an answer
)

// CheckSync asks an external server's monitoring endpoint (such as
// http://127.0.0.1:8222) whether JetStream syncs always. Only that makes an
// acknowledgement mean that the event survives a power failure:
//
//	jetstream { sync_interval: always }
//
// In a cluster every server must be asked: monitorURL may hold several, with
// commas.
func CheckSync(ctx context.Context, monitorURL string) error {
	_, err := checkSync(ctx, monitorURL)
	return err
}

// CheckSyncOf is CheckSync, and checks that the server that nc is connected to is
// among those asked: the endpoint of another server says nothing of this one.
func CheckSyncOf(ctx context.Context, nc *nats.Conn, monitorURL string) error {
	asked, err := checkSync(ctx, monitorURL)
	if err != nil {
		return err
	}
	if id := nc.ConnectedServerId(); asked[id] == "" {
		return fmt.Errorf("check sync: none of %s belongs to the connected server %s (%s)", monitorURL, nc.ConnectedServerName(), id)
	}
	return nil
}

// checkSync returns the names of the servers by id.
func checkSync(ctx context.Context, monitorURL string) (map[string]string, error) {
	asked := map[string]string{}
	for base := range strings.SplitSeq(monitorURL, ",") {
		v, err := varz(ctx, strings.TrimSpace(base))
		if err != nil {
			return nil, fmt.Errorf("check sync: %w", err)
		}
		switch cfg := v.JetStream.Config; {
		case cfg == nil || cfg.StoreDir == "":
			return nil, fmt.Errorf("check sync: server %s: JetStream is off", v.Name)
		case !cfg.SyncAlways:
			return nil, fmt.Errorf("check sync: server %s: %w: it syncs every %v; set jetstream { sync_interval: always }",
				v.Name, ErrNotSynced, cfg.SyncInterval)
		}
		asked[v.ID] = v.Name
	}
	return asked, nil
}

// serverVarz is the part of /varz that is read. Members that are missing are
// the unsafe answer.
type serverVarz struct {
	ID        string `json:"server_id"`
	Name      string `json:"server_name"`
	JetStream struct {
		Config *struct {
			StoreDir     string        `json:"store_dir"`
			SyncAlways   bool          `json:"sync_always"`
			SyncInterval time.Duration `json:"sync_interval"`
		} `json:"config"`
	} `json:"jetstream"`
}

func varz(ctx context.Context, base string) (v serverVarz, err error) {
	ctx, cancel := context.WithTimeout(ctx, monitorWait)
	defer cancel()
	url := strings.TrimRight(base, "/") + "/varz"
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return v, err
	}
	// A transport of its own leaves no idle connection, and its goroutines, behind.
	client := http.Client{Transport: &http.Transport{DisableKeepAlives: true, Proxy: http.ProxyFromEnvironment}}
	resp, err := client.Do(req)
	if err != nil {
		return v, err
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, monitorMost))
	if err != nil {
		return v, fmt.Errorf("%s: %w", url, err)
	}
	if resp.StatusCode != http.StatusOK {
		return v, fmt.Errorf("%s: status %s", url, resp.Status)
	}
	if err := json.Unmarshal(body, &v); err != nil {
		return v, fmt.Errorf("%s: %w", url, err)
	}
	if v.ID == "" {
		return v, fmt.Errorf("%s: not the monitoring endpoint of a NATS server", url)
	}
	return v, nil
}
