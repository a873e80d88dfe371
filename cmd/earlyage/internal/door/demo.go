package door

import (
	"net/http"

	"earlyage/cmd/earlyage/internal/roster"
)

// demo begins the session of a person of a demo whom a code invites to a page.
// There is no such route in any other hub.
func (d *Door) demo(w http.ResponseWriter, r *http.Request) {
	var in asked
	if err := readJSON(r, &in); err != nil {
		d.answer(w, r, nil, err)
		return
	}
	inv, err := d.invited(r, in.Code)
	if err == nil && inv.Sort != roster.Page {
		err = newProblem(http.StatusConflict, "other-sort", "this invitation is for a device's own key, not for a page")
	}
	d.enterPage(w, r, inv.Person, err)
}
