package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"earlyage/events"
)

// everySite is the site that stands for all of them.
const everySite = "_"

// listRoles writes who may record what: a row for each kind, a column for each
// role.
func listRoles(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	roles := events.Roles()
	head := "KIND"
	for _, r := range roles {
		head += "\t" + string(r)
	}
	_, failed := fmt.Fprintln(w, head)
	for _, k := range events.Kinds() {
		row := string(k)
		may := k.Recorders()
		for _, r := range roles {
			row += "\t" + mark(slices.Contains(may, r))
		}
		if k.SchedulerOnly() {
			row = string(k) + "\tthe hub alone"
		}
		_, err := fmt.Fprintln(w, row)
		failed = errors.Join(failed, err)
	}
	return errors.Join(failed, w.Flush())
}

func mark(yes bool) string {
	if yes {
		return "yes"
	}
	return "-"
}

// parseRoles reads role@site words: foreman@alder-court, officer@_.
func parseRoles(words []string) (map[string][]events.Role, error) {
	roles := map[string][]events.Role{}
	for _, word := range words {
		role, site, ok := strings.Cut(word, "@")
		switch {
		case !ok || !events.IsRole(role):
			return nil, usagef("role: %q; allowed: ROLE@SITE, ROLE one of %s, SITE a site or _ for every site", word, roleWords(events.Roles()))
		case site != everySite && !events.IsToken(site):
			return nil, usagef("role: %q; allowed after the @: a site, a-z, 0-9 and -, 1 to 40 characters, or _ for every site", word)
		case !slices.Contains(roles[site], events.Role(role)):
			roles[site] = append(roles[site], events.Role(role))
		}
	}
	return roles, nil
}

func roleWords(roles []events.Role) string {
	words := make([]string, len(roles))
	for i, r := range roles {
		words[i] = string(r)
	}
	return strings.Join(words, ", ")
}

// roleList writes roles by site as parseRoles reads them.
func roleList(roles map[string][]events.Role) string {
	var words []string
	for site, list := range roles {
		for _, r := range list {
			words = append(words, string(r)+"@"+site)
		}
	}
	slices.Sort(words)
	return strings.Join(words, " ")
}
