package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
)

type peopleCmd struct {
	Add    peopleAddCmd    `cmd:"" help:"Add a person and their roles. The first one must be a keeper of the whole hub."`
	List   peopleListCmd   `cmd:"" help:"Everybody, with roles by site."`
	Roles  peopleRolesCmd  `cmd:"" help:"Set a person's roles on the sites that are named, in place of those they had there."`
	Set    peopleSetCmd    `cmd:"" help:"How a person is called, reached and spoken to: by a keeper, or by the person."`
	Retire peopleRetireCmd `cmd:"" help:"End a person's roles on one site, or everywhere; everywhere ends their devices too."`
	Forget peopleForgetCmd `cmd:"" help:"Erase the name and addresses of a person who has retired from everywhere. The record keeps the id."`
}

type peopleAddCmd struct {
	reach
	Name  string   `required:"" help:"As others know them."`
	Mail  string   `help:"Address for mail."`
	Phone string   `help:"Number."`
	Role  []string `required:"" sep:"none" placeholder:"ROLE@SITE" help:"A role on a site, or with _ on every site; give it again for more. Roles: crew, foreman, dispatcher, engineer, officer, keeper."`
	JSON  bool     `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c peopleAddCmd) Run(ctx context.Context, con console) error {
	roles, err := parseRoles(c.Role)
	if err != nil {
		return err
	}
	client, err := c.client("")
	if err != nil {
		return err
	}
	var all api.People
	if _, err := client.Get(ctx, api.PathPeople, nil, &all); err != nil {
		return err
	}
	if !hasKeeper(all.People) && !slices.Contains(roles[everySite], events.Keeper) {
		return usagef("role: nobody keeps this hub yet, so the first person must: add --role keeper@_")
	}
	var added api.Person
	if err := client.Post(ctx, api.PathPeople, api.NewPerson{Name: c.Name, Mail: c.Mail, Phone: c.Phone, Roles: roles}, &added); err != nil {
		return err
	}
	if c.JSON {
		return writeJSON(con.Out, added)
	}
	site := slices.Sorted(maps.Keys(roles))[0]
	_, err = fmt.Fprintf(con.Out, "added %s, %s: %s\nNext: earlyage invite %s --site %s\n", added.Person, c.Name, roleList(roles), added.Person, site)
	return err
}

func hasKeeper(list []api.Person) bool {
	return slices.ContainsFunc(list, func(p api.Person) bool {
		return !p.Retired && slices.Contains(p.Roles[everySite], events.Keeper)
	})
}

type peopleListCmd struct {
	reach
	Site string `help:"Only those with a role on this site."`
	All  bool   `help:"Those who have retired too."`
	JSON bool   `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c peopleListCmd) Run(ctx context.Context, con console) error {
	client, err := c.client(c.Site)
	if err != nil {
		return err
	}
	var all api.People
	body, err := client.Get(ctx, api.PathPeople, nil, &all)
	if err != nil {
		return err
	}
	if c.JSON {
		return line(con.Out, body)
	}
	list := slices.DeleteFunc(all.People, func(p api.Person) bool {
		here := c.Site == "" || len(p.Roles[c.Site])+len(p.Roles[everySite]) > 0
		return !here || !c.All && (p.Retired || len(p.Roles) == 0)
	})
	return writePeople(con.Out, list)
}

func writePeople(out io.Writer, list []api.Person) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(out, "Nobody. Add the hub's keeper: earlyage people add --name NAME --role keeper@_")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	_, failed := fmt.Fprintln(w, "PERSON\tNAME\tMAIL\tLANG\tUNITS\tROLES")
	for _, p := range list {
		roles, name := roleList(p.Roles), p.Name
		if p.Retired {
			roles = "retired"
			if name == "" {
				name = "erased"
			}
		}
		_, err := fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", p.Person, orDash(name), orDash(p.Mail), orDash(p.Lang), orDash(p.Units), orDash(roles))
		failed = errors.Join(failed, err)
	}
	return errors.Join(failed, w.Flush())
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

type peopleRolesCmd struct {
	reach
	Person string   `arg:"" help:"The person's id, or name."`
	Role   []string `required:"" sep:"none" placeholder:"ROLE@SITE" help:"A role on a site, or with _ on every site; give it again for more. Roles: crew, foreman, dispatcher, engineer, officer, keeper."`
}

// Run implements the command.
func (c peopleRolesCmd) Run(ctx context.Context, con console) error {
	roles, err := parseRoles(c.Role)
	if err != nil {
		return err
	}
	client, err := c.client("")
	if err != nil {
		return err
	}
	who, err := person(ctx, client, c.Person)
	if err != nil {
		return err
	}
	for _, site := range slices.Sorted(maps.Keys(roles)) {
		if err := client.Post(ctx, api.PersonPath(who)+"/roles", api.Appointment{Site: site, Roles: roles[site]}, nil); err != nil {
			return err
		}
		if _, err := fmt.Fprintf(con.Out, "%s on %s: %s\n", who, siteWord(site), roleWords(roles[site])); err != nil {
			return err
		}
	}
	return nil
}

func siteWord(site string) string {
	if site == everySite {
		return "every site"
	}
	return site
}

type peopleSetCmd struct {
	reach
	Person string  `arg:"" help:"The person's id, or name."`
	Name   *string `help:"As others know them."`
	Mail   *string `help:"Address for mail; empty takes it out."`
	Phone  *string `help:"Number; empty takes it out."`
	Lang   *string `placeholder:"en|es" help:"Language of messages; empty takes it out."`
	Units  *string `placeholder:"si|us" help:"Units in messages; empty: those of the site."`
}

// Run implements the command.
func (c peopleSetCmd) Run(ctx context.Context, con console) error {
	if c.Name == nil && c.Mail == nil && c.Phone == nil && c.Lang == nil && c.Units == nil {
		return usagef("set: nothing to change; give --name, --mail, --phone, --lang or --units")
	}
	client, err := c.client("")
	if err != nil {
		return err
	}
	who, err := person(ctx, client, c.Person)
	if err != nil {
		return err
	}
	if err := client.Post(ctx, api.PersonPath(who)+"/contact", api.Contact{Name: c.Name, Mail: c.Mail, Phone: c.Phone, Lang: c.Lang, Units: c.Units}, nil); err != nil {
		return err
	}
	_, err = fmt.Fprintf(con.Out, "changed %s; earlyage people list shows it\n", who)
	return err
}

type peopleRetireCmd struct {
	reach
	Person string `arg:"" help:"The person's id, or name."`
	Site   string `default:"_" help:"Only from this site; without it from everywhere."`
	Reason string `required:"" help:"Why; it stands in the record."`
}

// Run implements the command.
func (c peopleRetireCmd) Run(ctx context.Context, con console) error {
	client, err := c.client("")
	if err != nil {
		return err
	}
	who, err := person(ctx, client, c.Person)
	if err != nil {
		return err
	}
	if err := client.Post(ctx, api.PersonPath(who)+"/retire", api.Retirement{Site: c.Site, Reason: c.Reason}, nil); err != nil {
		return err
	}
	if c.Site == everySite {
		_, err = fmt.Fprintf(con.Out, "%s has retired from every site, and their devices are shut out\n", who)
		return err
	}
	_, err = fmt.Fprintf(con.Out, "%s has no role on %s any more\n", who, c.Site)
	return err
}

type peopleForgetCmd struct {
	reach
	Person string `arg:"" help:"The person's id, or name."`
}

// Help is shown below the usage.
func (peopleForgetCmd) Help() string {
	return "What was erased does not come back. Copies of the hub's folder, mails and papers made before still hold the name, and so may what people wrote in entries. " +
		"earlyage serve --forget-after DAYS does it by itself."
}

// Run implements the command.
func (c peopleForgetCmd) Run(ctx context.Context, con console) error {
	client, err := c.client("")
	if err != nil {
		return err
	}
	var all api.People
	if _, err := client.Get(ctx, api.PathPeople, nil, &all); err != nil {
		return err
	}
	var found []string
	for _, p := range all.People {
		if p.Person == c.Person || strings.EqualFold(p.Name, c.Person) {
			found = append(found, p.Person)
		}
	}
	if len(found) != 1 {
		return usagef("person: %q is the id or name of %d; earlyage people list --all shows who there is", c.Person, len(found))
	}
	if err := client.Post(ctx, api.PersonPath(found[0])+"/forget", struct{}{}, nil); err != nil {
		return err
	}
	_, err = fmt.Fprintf(con.Out, "the name and addresses of %s are erased; the record keeps the id\n", found[0])
	return err
}
