package api

import (
	"context"
	"net/http"
	"net/url"

	"earlyage/cmd/earlyage/internal/register"
)

// Where the bracing register is asked for, and the paper of a wall.
const (
	PathRegister = "/api/v1/register"
	WallPaper    = "paper.pdf"
)

// The formats of the register, as ?format= has them. Without it is JSON.
const (
	RegisterJSON = "json"
	RegisterCSV  = "csv"
	RegisterXLSX = "xlsx"
	RegisterPDF  = "pdf"
)

// Register answers PathRegister as JSON.
type Register = register.Register

// AskRegister is what PathRegister is asked; an empty member is left out.
type AskRegister struct {
	Site, Wall string
	From, To   string // local dates, as 2026-11-02; both days count
	Format     string
	Size       string // of the paper: a4 or letter
	Lang       string // of the PDF, such as es
}

// Query gives the question's parameters.
func (a AskRegister) Query() url.Values {
	q := url.Values{}
	for key, value := range map[string]string{"site": a.Site, "wall": a.Wall, "from": a.From, "to": a.To, "format": a.Format, "size": a.Size, "lang": a.Lang} {
		if value != "" {
			q.Set(key, value)
		}
	}
	return q
}

// File asks for what is no JSON, and returns its bytes.
func (c Client) File(ctx context.Context, path string, query url.Values) ([]byte, error) {
	return c.exchange(ctx, question{method: http.MethodGet, path: path, query: query}, nil)
}
