package door

import (
	"bytes"
	"html/template"
	"net/http"
	"slices"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
	"earlyage/projector/people"
)

// readPages reads the templates, once for each language.
func (d *Door) readPages() (map[string]*template.Template, error) {
	pages := map[string]*template.Template{}
	for _, lang := range words.Languages() {
		c := words.Of(lang)
		funcs := template.FuncMap{
			"asset": d.Asset, "mark": d.Mark, "t": c.T, "lang": c.Lang, "roles": events.Roles,
			"role": func(r events.Role) string { return roleIn(c, r) },
		}
		t, err := template.New("").Funcs(funcs).ParseFS(pageFiles, "page/*.html")
		if err != nil {
			return nil, err
		}
		pages[lang] = t
	}
	return pages, nil
}

// roleIn names a role as the language does; as the record does where it does not.
func roleIn(c *words.Catalogue, r events.Role) string {
	if key := "role." + string(r); c.Has(key) {
		return c.T(key)
	}
	return string(r)
}

// page answers with a page. Of a page that cannot be made nothing is sent but
// that.
func (d *Door) page(w http.ResponseWriter, r *http.Request, status int, name string, data any) {
	var b bytes.Buffer
	if err := d.pages[words.Pick(r).Lang()].ExecuteTemplate(&b, name, data); err != nil {
		d.config.Log.Error("page", "name", name, "error", err)
		_ = api.WriteProblem(w, *newProblem(http.StatusInternalServerError, api.CodeInternal, "the hub could not answer; its log says why")) // who went away reads no answer
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // who went away reads no answer
}

func (d *Door) joinPage(w http.ResponseWriter, r *http.Request) {
	d.page(w, r, http.StatusOK, "join.html", nil)
}

// loginPage shows the ways in. A passkey is the one there is; single sign-on
// would be another: a link in the page's list of ways to a route of its own,
// whose end, once a person is proven, is enter.
func (d *Door) loginPage(w http.ResponseWriter, r *http.Request) {
	next := safeNext(r.URL.Query().Get("next"))
	if CallerOf(r.Context()).Person != "" {
		http.Redirect(w, r, next, http.StatusSeeOther) // #nosec G710 -- safeNext lets a path of this hub through alone
		return
	}
	d.page(w, r, http.StatusOK, "login.html", struct {
		Next     string
		Passkeys bool
	}{next, d.passkeys != nil})
}

// own is what the page about oneself shows.
type own struct {
	Me
	Sites []siteRoles
	Own   []ownDevice
}

type ownDevice struct{ Name, Sort, Site, SiteName string }

type siteRoles struct {
	Name  string
	Roles []events.Role
}

// ownPage shows a person what the hub knows of them.
func (d *Door) ownPage(w http.ResponseWriter, r *http.Request) {
	me, err := d.meOf(r)
	if err != nil {
		d.answer(w, r, nil, err)
		return
	}
	out := own{Me: me}
	sites := d.config.Register().SitesOf(me.Person)
	slices.SortStableFunc(sites, func(a, b string) int { return order(a) - order(b) })
	for _, site := range sites {
		out.Sites = append(out.Sites, siteRoles{d.siteName(words.Pick(r), site), me.Roles[site]})
	}
	for _, dev := range me.Devices {
		out.Own = append(out.Own, ownDevice{dev.Device, dev.Sort, dev.Site, d.siteName(words.Pick(r), dev.Site)})
	}
	d.page(w, r, http.StatusOK, "own.html", out)
}

// order puts what holds everywhere before the sites.
func order(site string) int {
	if site == people.Company {
		return 0
	}
	return 1
}
