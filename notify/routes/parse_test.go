package routes_test

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/routes"
)

const good = `routes:
  - name: a
    sites: [mill]
    kinds: [rise-fast]
    priority: high
    acts: [crew]
    days: [mon-fri, sun]
    from: "06:00"
    to: "18:00"
    ladder:
      - roles: [crew]
        shifts: [nights]
        by: [phone, push]
      - after: 90s
        people: [p-fay]
      - after: 5m
        roles: [dispatcher]
`

const nights = `shifts:
  - {name: nights, site: mill, people: [p-cy], from: "22:00", to: "06:00"}
`

// Everything that a file can say, read into what it means.
func TestParse(t *testing.T) {
	f := parse(t, good[:strings.LastIndex(good, "      - after: 5m")]+"      - {after: 5m, roles: [dispatcher], hooks: [screen]}\n"+nights+`quiet:
  - {sites: [mill], people: [p-fay], dates: [2026-03-07]}
sheets:
  - {sheet: beat, hooks: [screen]}
  - {sheet: weekly, sites: [quay], roles: [foreman], by: [mail]}
hooks:
  - {name: screen, url: "https://screen.builder.example/x", secret_file: screen.secret}
mail: {server: mail.builder.example, tls: implicit, user: u, password_file: /etc/pw, from: a@builder.example}
push: {contact: "mailto:a@builder.example"}
`)
	require.Equal(t, routes.Route{
		Place: routes.Place{Line: 2}, Name: "a", Sites: []string{"mill"}, Kinds: []string{"rise-fast"}, Priority: "high", Acts: []events.Role{events.Crew},
		Hours: routes.Hours{Days: []time.Weekday{1, 2, 3, 4, 5, 0}, From: 360, To: 1080},
		Ladder: []routes.Rung{
			{Call: routes.Call{Place: routes.Place{Line: 11}, Roles: []events.Role{events.Crew}, Shifts: []string{"nights"}, By: []string{"phone", "push"}}},
			{After: 90 * time.Second, Call: routes.Call{Place: routes.Place{Line: 14}, People: []string{"p-fay"}}},
			{After: 5 * time.Minute, Call: routes.Call{Place: routes.Place{Line: 16}, Roles: []events.Role{events.Dispatcher}, Hooks: []string{"screen"}}},
		},
	}, f.Routes[0])
	require.Equal(t, []routes.Shift{{Place: routes.Place{Line: 18}, Name: "nights", Site: "mill", People: []string{"p-cy"}, Hours: routes.Hours{From: 1320, To: 360}}}, f.Shifts)
	require.Equal(t, routes.Hours{Dates: []routes.Date{{2026, 3, 7}}, Whole: true}, f.Quiet[0].Hours)
	require.Equal(t, "screen", f.Sheets[0].Hooks[0])
	require.Equal(t, []string{"quay"}, f.Sheets[1].Sites)
	require.Equal(t, []routes.WebHook{{Place: routes.Place{Line: 25}, Name: "screen", URL: "https://screen.builder.example/x", SecretFile: "screen.secret"}}, f.Hooks)
	require.Equal(t, &routes.MailServer{Place: routes.Place{Line: 26}, Server: "mail.builder.example", Port: 465, TLS: "implicit", User: "u", PasswordFile: "/etc/pw", From: "a@builder.example"}, f.Mail)
	require.Equal(t, "mailto:a@builder.example", f.Push.Contact)

	f, err := routes.Parse("/etc/earlyage/r.yaml", []byte("hooks: [{name: a, url: \"http://[::1]:8/\", secret_file: s}]\nmail: {server: m, tls: starttls, from: a@b.example}"), nil, nil)
	require.NoError(t, err)
	require.Equal(t, "/etc/earlyage/s", f.Hooks[0].SecretFile, "beside the file")
	require.Equal(t, 587, f.Mail.Port)
}

// Each mistake: what stands in the file, and line, field and reason of each error.
func TestRefused(t *testing.T) {
	swap := func(old, by string) string {
		require.Contains(t, good, old)
		return strings.Replace(good, old, by, 1) + nights
	}
	for text, want := range map[string][]string{
		"":             {":1: there is nothing in it"},
		"# no more\n":  {":1: there is nothing in it"},
		"- a\n":        {":1: a list; allowed: members"},
		"routes: [a\n": {":1: not YAML: "},
		"a: 1\n---\n":  {":2: a second document"},
		"routs: []\n":  {":1: routs: no such member; allowed: routes, shifts"},
		"routes: []\n": {":1: routes: an empty list"},
		"routes: x\n":  {`:1: routes: the text "x"; allowed: a list`},
		"routes:\n":    {":1: routes: nothing; allowed: a list"},
		"routes: [7]":  {":1: routes[0]: the number 7; allowed: members"},
		"push: {contact: a}\npush: {contact: b}\n":              {`:1: push.contact: "a"`, ":2: push: given twice, first in line 1"},
		"x: &x [1]\nroutes: *x\n":                               {":1: x: no such member", ":2: routes: a reference to another place; allowed: a list"},
		strings.Repeat("#", 300<<10):                            {":1: 307200 bytes; allowed at most 262144"},
		swap("sites: [mill]", "sites: [mell]"):                  {`:3: routes[0].sites[0]: there is no site "mell"; allowed: mill, quay`},
		swap("sites: [mill]", "sites: mill"):                    {`:3: routes[0].sites: the text "mill"; allowed: a list`},
		swap("sites: [mill]", "sites: [Mill]"):                  {`:3: routes[0].sites[0]: "Mill"; allowed: a site`},
		swap("sites: [mill]", "sites: [mill, mill]"):            {`:3: routes[0].sites[1]: "mill" stands here twice`},
		swap("kinds: [rise-fast]", "kinds: [rise]"):             {`:4: routes[0].kinds[0]: "rise" is no kind of alert; allowed: alert-untold, `},
		swap("priority: high", "priority: top"):                 {`:5: routes[0].priority: "top"; allowed: urgent, high, medium, low`},
		swap("priority: high", "priority: 1"):                   {`:5: routes[0].priority: the number 1; allowed: a text`},
		swap("acts: [crew]", "acts: [probe]"):                   {`:6: routes[0].acts[0]: "probe" is no role of people; allowed: crew, foreman`},
		swap("mon-fri", "mon-fry"):                              {`:7: routes[0].days[0]: "mon-fry"; allowed: mon, tue`},
		swap("days: [mon-fri, sun]", "dates: [2026-02-30]"):     {`:7: routes[0].dates[0]: "2026-02-30"; allowed: a date`},
		swap("    from:", "    dates: [2026-02-03]\n    from:"): {`:8: routes[0].dates: beside days`},
		swap(`"06:00"`, `"6:00"`):                               {`:8: routes[0].from: "6:00"; allowed: a local time of day`},
		swap(`"06:00"`, `"24:00"`):                              {`:8: routes[0].from: 24:00 is an end`},
		swap(`"18:00"`, `"24:01"`):                              {`:9: routes[0].to: "24:01"`},
		swap(`"18:00"`, `"06:00"`):                              {`:9: routes[0].to: the same as from`},
		swap("    to: \"18:00\"\n", ""):                         {`:2: routes[0].to: missing`},
		swap("name: a", "nome: a"):                              {`:2: routes[0].name: missing`, `:2: routes[0].nome: no such member`},
		swap("roles: [crew]\n", "roles: [boss]\n"):              {`:11: routes[0].ladder[0].roles[0]: "boss" is no role of people`},
		swap("people: [p-fay]", "people: [p-gone]"):             {`:15: routes[0].ladder[1].people[0]: nobody is "p-gone", or they have retired`},
		swap("people: [p-fay]", "people: [p-fox]"):              {`:14: routes[0].ladder[1]: names nobody: p-fox, and on mill that is nobody`},
		swap("people: [p-fay]", "roles: [keeper]\n        by: [sms]"): {
			`:16: routes[0].ladder[1].by[0]: "sms" is no channel to people; allowed: phone, push, mail`,
		},
		swap("by: [phone, push]", "by: [mail]"):   {`:13: routes[0].ladder[0].by[0]: mail, and there is no member mail`},
		swap("shifts: [nights]", "shifts: [off]"): {`:12: routes[0].ladder[0].shifts[0]: "off" is no shift of this file; allowed: nights`},
		swap("people: [p-fay]", "hooks: [x]"): {
			`:14: routes[0].ladder[1]: names nobody; allowed: roles, people, shifts, and hooks beside them`,
			`:15: routes[0].ladder[1].hooks[0]: "x" is no hook of this file; allowed: none, there is none`,
		},
		swap("after: 90s", "after: soon"): {`:14: routes[0].ladder[1].after: "soon"; allowed: a duration`},
		swap("after: 90s", "after: 121s"): {`:14: routes[0].ladder[1].after: 121s is too late; allowed: at most 2m.`},
		swap("after: 90s", "after: 0s"):   {`:14: routes[0].ladder[1].after: 0s; allowed: later than the rung before it`},
		swap("after: 5m", "after: 5m1s"): {
			`:16: routes[0].ladder[2].after: 5m1s is too late; allowed: at most 5m.`,
		},
		swap("      - after: 90s\n        people: [p-fay]\n", ""): {`:14: routes[0].ladder[1].after: 5m is too late; allowed: at most 2m.`},
		swap("- roles: [crew]\n", "- after: 1s\n        roles: [crew]\n"): {
			`:11: routes[0].ladder[0].after: 1s; who is told first is told at once`,
		},
		swap("roles: [dispatcher]", "roles: [keeper]"):     {`:16: routes[0].ladder[2].roles: the last rung; it must have the role dispatcher`},
		swap("ladder:", "letter:"):                         {`:2: routes[0].ladder: missing`, `:10: routes[0].letter: no such member`},
		"shifts: [{name: n, site: mill, people: [p-x]}]":   {`:1: shifts[0].people[0]: nobody is "p-x"`},
		"shifts: [{name: n, site: mill, people: [p-fox]}]": {`:1: shifts[0].people[0]: p-fox holds no role on mill`},
		"shifts: [{name: n, site: mill, people: []}]":      {`:1: shifts[0].people: an empty list`},
		"shifts: [{name: n, site: mill}]":                  {`:1: shifts[0].people: missing: a shift names who is on it`},
		"shifts: [{name: N n, people: [p-fay]}]":           {`:1: shifts[0].name: "N n"; allowed`, `:1: shifts[0].site: missing`},
		"quiet: [{from: \"20:00\", to: \"06:00\"}]":        {`:1: quiet[0]: names nobody`},
		"quiet: [{sites: [mill]}]":                         {`:1: quiet[0]: quiet at all hours`},
		"quiet:\n  - sites: [mill]\n    days: [sun]\n    kinds:\n      - joint-cold\n      - frozen\n      - form-moved\n      - brace-disturbed\n      - probe-silent\n": {
			`:5: quiet[0].kinds[0]: joint-cold: it is never withheld`, `:6: quiet[0].kinds[1]: frozen: it is never withheld`, `:7: quiet[0].kinds[2]: form-moved: it is never withheld`,
			`:8: quiet[0].kinds[3]: brace-disturbed: it is never withheld, and neither is anything else that concerns a joint, a form, a freeze or a brace. What can wait, when it is not urgent or high: clock-doubtful, event-refused, probe-silent, record-gap`,
		},
		"quiet: [{sites: [mill], days: [sun], priority: high}]":          {`:1: quiet[0].priority: "high"; allowed: medium or low`},
		"quiet: [{sites: [mill], days: [sun], priority: urgent}]":        {`:1: quiet[0].priority: "urgent"; allowed: medium or low`},
		"quiet: [{sites: [mill], days: [sun], kinds: []}]":               {`:1: quiet[0].kinds: an empty list`},
		"quiet: [{sites: [mill], days: [sun], kinds: [crane-near]}]":     {`:1: quiet[0].kinds[0]: "crane-near" is no kind of alert`},
		"quiet: [{sites: [mill], days: [sun], kinds: [stream-hole]}]":    {`:1: quiet[0].kinds[0]: stream-hole: it is never withheld`},
		"sheets: [{sheet: noon, roles: [foreman]}]":                      {`:1: sheets[0].sheet: "noon"; allowed: morning, evening, weekly, beat`},
		"sheets: [{sheet: weekly}]":                                      {`:1: sheets[0]: names nobody`},
		"sheets: [{sheet: weekly, sites: [quay], roles: [crew]}]":        {`:1: sheets[0]: names nobody: crew, and on quay that is nobody`},
		"hooks: [{name: a, url: \"http://x.example/\", secret_file: s}]": {`:1: hooks[0].url: allowed: an https address`},
		"hooks: [{name: a, url: \"https://u:p@x.example/\", secret: s}]": {
			`:1: hooks[0].secret_file: missing`, `:1: hooks[0].secret: a secret never stands in this file; secret_file names`, `:1: hooks[0].url: allowed`,
		},
		"mail: {server: \"m:25\", tls: none, port: 0, user: u, password: pw, from: me}": {
			`:1: mail.password: a secret never stands`, `:1: mail.server: "m:25"`, `:1: mail.tls: "none"`, `:1: mail.port: the number 0`, `:1: mail.password_file: missing`, `:1: mail.from: "me"`,
		},
		"mail: {server: m, tls: starttls, password_file: p, from: a@b.example}": {`:1: mail.password_file: and there is no user`},
		"push: {contact: \"http://x.example\"}":                                 {`:1: push.contact: "http://x.example"; allowed: mailto:`},
	} {
		_, err := routes.Parse("r.yaml", []byte(text), builder, sites)
		require.Error(t, err, text)
		list := routes.Errors(err)
		for _, w := range want {
			require.Condition(t, func() bool {
				for _, e := range list {
					if strings.HasPrefix(e.Error(), "r.yaml"+w) {
						return true
					}
				}
				return false
			}, "%q\nin\n%v", w, err)
		}
		var one *routes.Error
		require.True(t, errors.As(err, &one))
		for i := range list[1:] {
			require.LessOrEqual(t, list[i].Line, list[i+1].Line, "in the order of the lines")
		}
	}
}

// The file itself is good: what is refused above is refused for its one change.
func TestTheFileThatIsChangedIsGood(t *testing.T) {
	parse(t, good+nights)
	_, err := routes.Parse("r.yaml", []byte(good+strings.TrimPrefix(good, "routes:\n")+nights), builder, sites)
	require.EqualError(t, err, `r.yaml:18: routes[1].name: "a" is the route of line 2 already`)
}

// Without anybody to ask, the form alone is judged.
func TestFormAlone(t *testing.T) {
	text := "routes: [{name: a, sites: [elsewhere], ladder: [{people: [p-unknown], roles: [dispatcher]}]}]\n"
	_, err := routes.Parse("r.yaml", []byte(text), nil, nil)
	require.NoError(t, err)
	_, err = routes.Parse("r.yaml", []byte(text), builder, sites)
	require.Len(t, routes.Errors(err), 2)
}

func FuzzParse(f *testing.F) {
	example, err := os.ReadFile("../../deploy/routes.yaml")
	require.NoError(f, err)
	for _, seed := range []string{good + nights, string(example), "", "a: *a", "? [a]\n: b", "{", "routes: [[[", "!!binary x", "mail: {port: 99999999999999999999}", "\xff", "push:\n- contact"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		file, err := routes.Parse("r.yaml", []byte(text), builder, sites)
		if err != nil {
			require.Nil(t, file)
			list := routes.Errors(err)
			require.NotEmpty(t, list)
			for _, e := range list {
				require.Positive(t, e.Line)
				require.LessOrEqual(t, e.Line, strings.Count(text, "\n")+strings.Count(text, "\r")+2, "%s", e)
				require.NotEmpty(t, e.Reason)
			}
			return
		}
		requireSafe(t, file.Rota(builder, nil), builder, time.Date(2026, 3, 8, 6, 59, 0, 0, time.UTC))
	})
}
