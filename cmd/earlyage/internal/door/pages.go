package door

import (
	"bytes"
	"net/http"
	"slices"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
	"earlyage/projector/people"
)

// page answers with a page. Of a page that cannot be made nothing is sent but
// that.
func (d *Door) page(w http.ResponseWriter, status int, name string, data any) {
	var b bytes.Buffer
	if err := d.pages.ExecuteTemplate(&b, name, data); err != nil {
		d.config.Log.Error("page", "name", name, "error", err)
		_ = api.WriteProblem(w, *newProblem(http.StatusInternalServerError, api.CodeInternal, "the hub could not answer; its log says why")) // who went away reads no answer
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // who went away reads no answer
}

func (d *Door) joinPage(w http.ResponseWriter, _ *http.Request) {
	d.page(w, http.StatusOK, "join.html", nil)
}

// loginPage shows the ways in. A passkey is the one there is; single sign-on
// would be another: a link in the page's list of ways to a route of its own,
// whose end, once a person is proven, is enter.
func (d *Door) loginPage(w http.ResponseWriter, r *http.Request) {
	next := safeNext(r.URL.Query().Get("next"))
	if CallerOf(r.Context()).Person != "" {
		http.Redirect(w, r, next, http.StatusSeeOther)
		return
	}
	d.page(w, http.StatusOK, "login.html", struct {
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
		out.Sites = append(out.Sites, siteRoles{d.siteName(site), me.Roles[site]})
	}
	for _, dev := range me.Devices {
		out.Own = append(out.Own, ownDevice{dev.Device, dev.Sort, dev.Site, d.siteName(dev.Site)})
	}
	d.page(w, http.StatusOK, "own.html", out)
}

// order puts what holds everywhere before the sites.
func order(site string) int {
	if site == people.Company {
		return 0
	}
	return 1
}
