package board

import (
	"context"
	"errors"
	"html/template"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/events"
)

// Paths of the pages.
const (
	PathBoard  = "/board"
	PathAlerts = "/alerts"
	PathKinds  = "/alerts/kinds"
	PathBraces = "/braces"
	PathWeek   = "/week"
	PathLive   = "/board/live"
)

// Config is what the pages need.
type Config struct {
	Source Source
	// Asset and Mark are those of the door.
	Asset func(name string) string
	Mark  func(name string) template.HTML
	// Name gives a person's name; default the id.
	Name func(person string) string
	// Measured tells how fast and how much was told of late; nil: it is not shown.
	Measured func(ctx context.Context) (api.ToldMeasure, error)
	Log      *slog.Logger // default discards
	// Every is how often a viewer is told of changes at most; default 250 ms.
	Every time.Duration
	// Beat is how often a viewer hears that the link lives, changes or not;
	// default 2 s. A page that has heard nothing for two and a half of them says
	// so.
	Beat time.Duration
	// Patience is how long a viewer may take to read; then it is cut. Default 10 s.
	Patience time.Duration
}

// Pages serves the board and what belongs to it. It is safe for concurrent use.
type Pages struct {
	config Config
	files  files
	pages  map[string]*template.Template // by language
	cells  map[string]cellWriter

	mu     sync.Mutex // one picture is computed at a time; it guards what follows
	latest *picture
}

// New makes the pages.
func New(c Config) (*Pages, error) {
	if c.Source == nil || c.Asset == nil || c.Mark == nil {
		return nil, errors.New("board: source, asset and mark are needed")
	}
	c.fill()
	p := &Pages{config: c, files: readFiles()}
	return p, p.readPages()
}

func (c *Config) fill() {
	if c.Name == nil {
		c.Name = func(person string) string { return person }
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Every <= 0 {
		c.Every = 250 * time.Millisecond
	}
	if c.Beat <= 0 {
		c.Beat = 2 * time.Second
	}
	if c.Patience <= 0 {
		c.Patience = 10 * time.Second
	}
}

// Routes are the pages' own. Everybody who has a role anywhere may look; Sight
// says at what.
func (p *Pages) Routes() []door.Route {
	may := door.Roles(events.Crew, events.Foreman, events.Dispatcher, events.Engineer, events.Officer, events.Keeper)
	route := func(pattern string, who door.Access, f http.HandlerFunc) door.Route {
		return door.Route{Method: http.MethodGet, Pattern: pattern, Who: who, Handler: f}
	}
	return []door.Route{
		route(PathBoard, may, p.page("board.html")),
		route(PathAlerts, may, p.page("alerts.html")),
		route(PathKinds, may, p.page("kinds.html")),
		route(PathBraces, may, p.page("braces.html")),
		route(PathWeek, may, p.page("week.html")),
		route(PathLive, may, p.live),
		route(pathFiles+"{file}", door.Public, p.file),
	}
}
