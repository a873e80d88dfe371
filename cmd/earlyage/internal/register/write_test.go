package register_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"flag"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/scheduler"
)

var update = flag.Bool("update", false, "write the golden files anew")

// sample is a register with braces off in time, early, without permit, standing,
// and with what people typed.
func sample(t testing.TB) register.Register {
	t.Helper()
	w := newWorld(t, "Europe/Oslo").opened()
	w.pour("a", "2026-10-23", "10:00", "2026-10-31@10:00", 10)
	w.pour("b", "2026-10-26", "09:00", "2026-10-31@10:00", 12)
	w.stated("b", "2026-10-27@08:00")
	w.record(`
		2026-10-27 09:00 phone p-crew wind.read - gust_mps=3
		2026-10-27 09:30 office p-boss permit.issued a "number==cmd|'/c calc'!A1" for=strip until=2026-10-28T09:30
		2026-10-27 10:00 phone p-crew brace.stripped a braces=b1 "permit==cmd|'/c calc'!A1"
		2026-10-27 10:30 phone p-crew brace.stripped b braces=b3
		2026-10-28 09:50 phone p-crew wind.read - gust_mps=3
		2026-10-28 10:00 phone p-crew brace.stripped a braces=b2`)
	r := w.register("2026-10-29@12:00", register.Query{From: "2026-10-19"})
	r.Checkpoint = &register.Checkpoint{Key: "earlyage/0badcafe+key", At: r.At, Size: 80, Through: r.Through, Root: "cm9vdA==", Note: "earlyage/0badcafe\n80\ncm9vdA==\nthrough 80\n\n— earlyage/0badcafe sig\n"}
	return r
}

// CSV is read back by encoding/csv, and holds to RFC 4180: CRLF, one head, as many
// cells in each line.
func TestCSV(t *testing.T) {
	r := sample(t)
	var out bytes.Buffer
	require.NoError(t, r.CSV(&out))
	require.True(t, utf8.Valid(out.Bytes()))
	require.Equal(t, strings.Count(out.String(), "\n"), strings.Count(out.String(), "\r\n"))
	require.True(t, bytes.HasSuffix(out.Bytes(), []byte("\r\n")))
	list, err := csv.NewReader(&out).ReadAll() // refuses lines of other lengths
	require.NoError(t, err)
	require.Len(t, list, 1+r.Total.Braces)
	at := map[string]int{}
	for i, head := range list[0] {
		at[head] = i
	}
	require.Len(t, at, len(list[0]), "no head twice")
	cell := func(n int, head string) string {
		i, ok := at[head]
		require.True(t, ok, head)
		return list[n][i]
	}
	require.Equal(t, "b1", cell(1, "brace"))
	require.Equal(t, "2026-10-23T10:00:00+02:00", cell(1, "last_concrete"))
	require.Equal(t, "2026-10-27T10:00:00+01:00", cell(1, "stripped"), "the clocks went back between")
	require.Equal(t, "97.00", cell(1, "kept_h"))
	require.Equal(t, "2.000", cell(1, "station_m"))
	require.Equal(t, "Åse Øyen (p-crew)", cell(1, "stripped_by"))
	require.Equal(t, `_=cmd|'/c calc'!A1`, cell(1, "permit"))
	require.Equal(t, "_=SUM(A1) (p-boss)", cell(1, "permit_by"))
	require.Equal(t, []string{"10.00", "10.00", "top"}, []string{cell(1, "concrete_low_c"), cell(1, "concrete_high_c"), cell(1, "concrete_read_at")})
	require.Equal(t, "yes", cell(6, "early"))
	require.True(t, strings.HasPrefix(cell(6, "margin_h"), "-"), "a number may be under zero: %s", cell(6, "margin_h"))
	for i, line := range list[1:] {
		for j, c := range line {
			if _, err := strconv.ParseFloat(c, 64); c == "" || err == nil {
				continue
			}
			require.NotContains(t, "=+-@\t\r", c[:1], "line %d, %s", i+1, list[0][j])
		}
	}
}

// Each deed has when it happened, was entered and recorded, by whom, on which device,
// and its message in the record: in CSV and, read back by excelize, in XLSX, as the
// register itself has it.
func TestDeedsAreWhole(t *testing.T) {
	w := newWorld(t, "Europe/Oslo").opened()
	w.pour("a", "2026-10-05", "10:00", "2026-10-12@12:00", 20)
	w.record(`
		2026-10-08 09:00 phone p-crew wind.read - gust_mps=3
		2026-10-08 09:10 office p-boss permit.issued a number=s-1 for=strip until=2026-10-08T18:00 recorded=2026-10-08@09:12
		2026-10-08 10:20 tablet p-second brace.stripped a braces=b1 permit=s-1 at=2026-10-08T10:10 recorded=2026-10-08@11:40`)
	r := w.register("2026-10-12@12:00", register.Query{})
	x := row(t, r, "a", "b1", 0)
	require.Equal(t, "2026-10-08T09:40:00Z", x.Stripped.Recorded.Format(time.RFC3339))
	require.Equal(t, "2026-10-08T08:20:00Z", x.Stripped.Entered.Format(time.RFC3339))
	require.Equal(t, []string{"tablet", "office", "phone"}, []string{x.Stripped.Device, x.Permit.Issued.Device, x.Set.Device})
	require.Equal(t, "2026-10-08T07:12:00Z", x.Permit.Issued.Recorded.Format(time.RFC3339))

	var out bytes.Buffer
	require.NoError(t, r.CSV(&out))
	list, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	f, err := excelize.OpenReader(bytes.NewReader(workbook(t, r)))
	require.NoError(t, err)
	defer f.Close()
	sheet, err := f.GetRows("Braces")
	require.NoError(t, err)
	in := func(rows [][]string, head string) string {
		i := slices.Index(rows[0], head)
		require.GreaterOrEqual(t, i, 0, head)
		return rows[1][i]
	}
	for key, c := range map[string]struct {
		head, happened, happenedHead, by string
		deed                             register.Deed
	}{
		"set":           {"Set", "set", "Set", "Set by", x.Set},
		"inspected":     {"Inspection", "inspected", "Last found sound", "Inspected by", x.Inspected},
		"last_concrete": {"Last concrete", "last_concrete", "Last concrete", "Last concrete by", x.Concrete},
		"permit":        {"Permit", "permit_issued", "Permit issued", "Permit by", x.Permit.Issued},
		"stripped":      {"Strip", "stripped", "Stripped", "Stripped by", x.Stripped},
	} {
		require.NotZero(t, c.deed.Seq, key)
		for column, want := range map[[2]string]face.Time{
			{c.happened, c.happenedHead}: c.deed.At, {key + "_entered", c.head + " entered"}: c.deed.Entered, {key + "_recorded", c.head + " recorded"}: c.deed.Recorded,
		} {
			require.False(t, want.IsZero(), column[0])
			require.Equal(t, want.In(w.zone).Format(time.RFC3339), in(list, column[0]))
			require.Equal(t, want.In(w.zone).Format("2006-01-02 15:04"), in(sheet, column[1]))
		}
		for column, want := range map[[2]string]string{
			{key + "_device", c.head + " on device"}: c.deed.Device, {key + "_message", c.head + ", message no."}: strconv.FormatUint(c.deed.Seq, 10),
		} {
			require.Equal(t, want, in(list, column[0]))
			require.Equal(t, want, in(sheet, column[1]))
		}
		require.Contains(t, in(list, key+"_by"), c.deed.By)
		require.Contains(t, in(sheet, c.by), c.deed.By)
		require.Contains(t, in(list, key+"_by"), c.deed.Name)
	}
}

// The workbook is read back by excelize, and says what the register says.
func TestXLSXReadBack(t *testing.T) {
	r := sample(t)
	raw := workbook(t, r)
	f, err := excelize.OpenReader(bytes.NewReader(raw))
	require.NoError(t, err)
	defer f.Close()
	require.Equal(t, []string{"Braces", "Totals", "About"}, f.GetSheetList())
	rows, err := f.GetRows("Braces")
	require.NoError(t, err)
	require.Len(t, rows, 1+r.Total.Braces)
	head := map[string]int{}
	for i, h := range rows[0] {
		head[h] = i
	}
	require.Equal(t, "2026-10-27 10:00", rows[1][head["Stripped"]])
	require.Equal(t, "97.00", rows[1][head["Kept, h"]])
	require.Equal(t, `=cmd|'/c calc'!A1`, rows[1][head["Permit"]])
	for _, c := range []string{"Permit", "Stripped", "Kept, h"} {
		name, err := excelize.CoordinatesToCellName(head[c]+1, 2)
		require.NoError(t, err)
		kind, err := f.GetCellType("Braces", name)
		require.NoError(t, err)
		formula, err := f.GetCellFormula("Braces", name)
		require.NoError(t, err)
		require.Empty(t, formula)
		require.Equal(t, c == "Permit", kind == excelize.CellTypeSharedString || kind == excelize.CellTypeInlineString, c)
	}
	totals, err := f.GetRows("Totals")
	require.NoError(t, err)
	all := totals[len(totals)-1]
	require.Equal(t, "all", all[0])
	require.Equal(t, []string{"6", "3", "1", "2", "3"}, all[4:9])
	about, err := f.GetRows("About")
	require.NoError(t, err)
	text := ""
	for _, line := range about {
		text += strings.Join(line, "\t") + "\n"
	}
	for _, want := range []string{scheduler.Caution, scheduler.Rules, "from 2026-10-19 to the day on which it was made", r.Checkpoint.Key, "through 80"} {
		require.Contains(t, text, want)
	}
	props, err := f.GetDocProps()
	require.NoError(t, err)
	require.Equal(t, "2026-10-29T11:00:00Z", props.Created)
	require.Equal(t, props.Created, props.Modified)
	require.Equal(t, "earlyage", props.Creator)
}

func workbook(t *testing.T, r register.Register) []byte {
	t.Helper()
	var out, again bytes.Buffer
	require.NoError(t, r.XLSX(&out))
	require.NoError(t, r.XLSX(&again))
	require.True(t, bytes.Equal(out.Bytes(), again.Bytes()), "the same register, the same bytes")
	return out.Bytes()
}

// sheetXML is what a second reader takes of a sheet (ECMA-376 part 1, 18.3.1, from
// memory).
type sheetXML struct {
	Fit struct {
		On string `xml:"fitToPage,attr"`
	} `xml:"sheetPr>pageSetUpPr"`
	Pane struct {
		Y     string `xml:"ySplit,attr"`
		State string `xml:"state,attr"`
	} `xml:"sheetViews>sheetView>pane"`
	Cols []struct {
		From  int     `xml:"min,attr"`
		To    int     `xml:"max,attr"`
		Width float64 `xml:"width,attr"`
	} `xml:"cols>col"`
	Rows []struct {
		Cells []struct {
			Ref     string  `xml:"r,attr"`
			Type    string  `xml:"t,attr"`
			Style   int     `xml:"s,attr"`
			Value   string  `xml:"v"`
			Formula *string `xml:"f"`
		} `xml:"c"`
	} `xml:"sheetData>row"`
	Filter struct {
		Ref string `xml:"ref,attr"`
	} `xml:"autoFilter"`
	Setup struct {
		Orientation string `xml:"orientation,attr"`
		Wide        string `xml:"fitToWidth,attr"`
		High        string `xml:"fitToHeight,attr"`
	} `xml:"pageSetup"`
}

type stylesXML struct {
	Formats []struct {
		ID   int    `xml:"numFmtId,attr"`
		Code string `xml:"formatCode,attr"`
	} `xml:"numFmts>numFmt"`
	Cells []struct {
		Format int `xml:"numFmtId,attr"`
	} `xml:"cellXfs>xf"`
}

// The workbook by a reader of its own: real dates and numbers, no formula, frozen
// head, filter, landscape.
func TestXLSXBySecondReader(t *testing.T) {
	raw := workbook(t, sample(t))
	parts, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	require.NoError(t, err)
	part := func(name string, into any) {
		f, err := parts.Open(name)
		require.NoError(t, err)
		body, err := io.ReadAll(f)
		require.NoError(t, err)
		require.NoError(t, xml.Unmarshal(body, into))
	}
	var strs struct {
		Items []struct {
			Text string `xml:"t"`
		} `xml:"si"`
	}
	part("xl/sharedStrings.xml", &strs)
	var styles stylesXML
	part("xl/styles.xml", &styles)
	formats := map[int]string{}
	for _, f := range styles.Formats {
		formats[f.ID] = f.Code
	}
	var sheet sheetXML
	part("xl/worksheets/sheet1.xml", &sheet)
	require.Contains(t, []string{"1", "true"}, sheet.Fit.On)
	require.Equal(t, "1", sheet.Pane.Y)
	require.Equal(t, "frozen", sheet.Pane.State)
	require.Equal(t, "A1:BI7", strings.ReplaceAll(sheet.Filter.Ref, "$", ""))
	require.Equal(t, "landscape", sheet.Setup.Orientation)
	require.Equal(t, "0", sheet.Setup.High)
	require.Contains(t, []string{"", "1"}, sheet.Setup.Wide, "1 where it is left out")
	wide := 0
	for _, c := range sheet.Cols {
		require.Positive(t, c.Width)
		wide += c.To - c.From + 1
	}
	require.Equal(t, 61, wide, "every column has a width")

	heads := map[string]string{} // by letter
	for _, c := range sheet.Rows[0].Cells {
		n, err := strconv.Atoi(c.Value)
		require.NoError(t, err)
		heads[strings.TrimRight(c.Ref, "0123456789")] = strs.Items[n].Text
	}
	found := map[string]int{}
	for _, row := range sheet.Rows[1:] {
		for _, c := range row.Cells {
			require.Nil(t, c.Formula, c.Ref)
			if c.Value == "" {
				continue
			}
			head := heads[strings.TrimRight(c.Ref, "0123456789")]
			if c.Type == "s" {
				continue
			}
			found[head]++
			code := formats[styles.Cells[c.Style].Format]
			switch head {
			case "Set", "Last found sound", "Last concrete", "Cured", "Window opened", "Hub stated at", "Permit from", "Permit issued", "Permit until", "Stripped",
				"Set entered", "Inspection entered", "Last concrete entered", "Permit entered", "Strip entered",
				"Set recorded", "Inspection recorded", "Last concrete recorded", "Permit recorded", "Strip recorded":
				require.Equal(t, "yyyy-mm-dd hh:mm", code, head)
			case "Station, m":
				require.Equal(t, "0.000", code)
			case "Times found sound", "Set, message no.", "Inspection, message no.", "Last concrete, message no.", "Permit, message no.", "Strip, message no.":
				require.NotContains(t, c.Value, ".", head)
			default:
				require.Equal(t, "0.00", code, head)
			}
		}
	}
	require.Equal(t, 3, found["Stripped"])
	require.Equal(t, 6, found["Kept, h"])
	// Day 0 is 30 December 1899 (the 1900 date system, from memory); the site's clock
	// said 10:00 on 27 October 2026.
	want := time.Date(2026, 10, 27, 10, 0, 0, 0, time.UTC).Sub(time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)).Hours() / 24
	for _, c := range sheet.Rows[1].Cells {
		if heads[strings.TrimRight(c.Ref, "0123456789")] == "Stripped" {
			got, err := strconv.ParseFloat(c.Value, 64)
			require.NoError(t, err)
			require.InDelta(t, want, got, 1.0/86400)
		}
	}
}

// JSON is read back to the same register.
func TestJSON(t *testing.T) {
	r := sample(t)
	var out bytes.Buffer
	require.NoError(t, r.JSON(&out))
	require.Contains(t, out.String(), `"kept_s": 349200`)
	require.Contains(t, out.String(), `"at": "2026-10-29T11:00:00Z"`)
	var back register.Register
	require.NoError(t, json.Unmarshal(out.Bytes(), &back))
	require.Equal(t, r, back)
}

func TestText(t *testing.T) {
	r := sample(t)
	for name, units := range map[string]string{"si": "", "us": "us"} {
		var out bytes.Buffer
		require.NoError(t, r.Text(&out, units))
		require.Contains(t, out.String(), "A guide for planning and records.")
		for line := range strings.Lines(out.String()) {
			require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), 110, "%s", line)
		}
		golden(t, "sample-"+name+".txt", out.String())
	}
	var out bytes.Buffer
	none := newWorld(t, "Europe/Oslo").opened().register("2026-10-29@12:00", register.Query{})
	require.NoError(t, none.Text(&out, ""))
	require.Contains(t, out.String(), "No brace stood in it.")
	require.Contains(t, out.String(), "nothing was stripped yet")
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "%s (-update writes it)", path)
}
