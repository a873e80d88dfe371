package register

import (
	"fmt"
	"io"
	"time"

	"github.com/xuri/excelize/v2"

	"earlyage/cmd/earlyage/internal/face"
)

// The sheets of the workbook.
const (
	sheetBraces = "Braces"
	sheetTotals = "Totals"
	sheetAbout  = "About"
)

// The formats of cells. A sheet knows no time zone: its moments are by the site's
// clock, which the sheet of totals names.
const (
	formatMoment = "yyyy-mm-dd hh:mm"
	formatHours  = "0.00"
	formatMetres = "0.000"
)

// XLSX writes a workbook: the braces, the totals, and what it is. The same
// register gives the same bytes.
func (r *Register) XLSX(w io.Writer) error {
	b := &book{File: excelize.NewFile(), r: r}
	b.try(b.SetSheetName("Sheet1", sheetBraces))
	for _, name := range []string{sheetTotals, sheetAbout} {
		_, err := b.NewSheet(name)
		b.try(err)
	}
	b.styles()
	b.properties()
	b.braces()
	b.totals()
	b.about()
	b.print()
	if b.err == nil {
		_, err := b.WriteTo(w)
		b.try(err)
	}
	b.try(b.Close())
	if b.err != nil {
		return fmt.Errorf("write XLSX: %w", b.err)
	}
	return nil
}

// book is the workbook while it is filled: the first error stands.
type book struct {
	*excelize.File
	r                                 *Register
	head, text, moment, hours, metres int
	err                               error
}

func (b *book) try(err error) {
	if b.err == nil {
		b.err = err
	}
}

func (b *book) styles() {
	style := func(s excelize.Style) int {
		n, err := b.NewStyle(&s)
		b.try(err)
		return n
	}
	custom := func(format string) int {
		return style(excelize.Style{CustomNumFmt: &format, Alignment: &excelize.Alignment{Vertical: "top"}})
	}
	b.head = style(excelize.Style{
		Font: &excelize.Font{Bold: true}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"},
		Border: []excelize.Border{{Type: "bottom", Color: "000000", Style: 1}},
	})
	b.text = style(excelize.Style{Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	b.moment, b.hours, b.metres = custom(formatMoment), custom(formatHours), custom(formatMetres)
}

// properties are of the register's own moment: nothing of the machine or the hour
// of writing is in the file.
func (b *book) properties() {
	at := b.r.At.UTC().Truncate(time.Second).Format(time.RFC3339)
	b.try(b.SetDocProps(&excelize.DocProperties{
		Title: b.r.title(), Subject: b.r.period(), Creator: "earlyage", LastModifiedBy: "earlyage", Created: at, Modified: at, Description: b.r.Caution, Language: "en",
	}))
}

// print sets up the pages. A filter undoes some of it, and so comes before.
func (b *book) print() {
	for _, sheet := range []string{sheetBraces, sheetTotals, sheetAbout} {
		landscape, a4, one, none, fit := "landscape", 9, 1, 0, true
		b.try(b.SetPageLayout(sheet, &excelize.PageLayoutOptions{Orientation: &landscape, Size: &a4, FitToWidth: &one, FitToHeight: &none}))
		b.try(b.SetSheetProps(sheet, &excelize.SheetPropsOptions{FitToPage: &fit}))
		b.try(b.SetHeaderFooter(sheet, &excelize.HeaderFooterOptions{OddFooter: "&L" + sheet + "&RPage &P of &N"}))
	}
}

// cell puts a value where it belongs. Text is text, whatever it begins with.
func (b *book) cell(sheet string, col, row int, v any, zone *time.Location) {
	at, err := excelize.CoordinatesToCellName(col, row)
	b.try(err)
	style := b.text
	switch x := v.(type) {
	case nil:
		return
	case string:
		b.try(b.SetCellStr(sheet, at, x))
	case int:
		b.try(b.SetCellInt(sheet, at, int64(x)))
	case uint64:
		b.try(b.SetCellUint(sheet, at, x))
	case number:
		b.try(b.SetCellFloat(sheet, at, x.float(), x.digits, 64))
		if style = b.hours; x.digits == 3 {
			style = b.metres
		}
	case face.Time:
		if x.IsZero() {
			return
		}
		b.try(b.SetCellValue(sheet, at, wallClock(x.Time, zone)))
		style = b.moment
	default:
		panic(fmt.Sprintf("register: a cell of %T", v))
	}
	b.try(b.SetCellStyle(sheet, at, at, style))
}

// wallClock is what the clock on the site showed, to the second.
func wallClock(t time.Time, zone *time.Location) time.Time {
	t = t.In(zone)
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
}

// heads writes a head that stays in sight, and a filter over rows under it.
func (b *book) heads(sheet string, heads []string, widths []float64, rows int) {
	for i, h := range heads {
		b.cell(sheet, i+1, 1, h, nil)
		col, err := excelize.ColumnNumberToName(i + 1)
		b.try(err)
		b.try(b.SetColWidth(sheet, col, col, widths[i]))
	}
	last, err := excelize.CoordinatesToCellName(len(heads), 1)
	b.try(err)
	b.try(b.SetCellStyle(sheet, "A1", last, b.head))
	b.try(b.SetPanes(sheet, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}))
	end, err := excelize.CoordinatesToCellName(len(heads), rows+1)
	b.try(err)
	b.try(b.AutoFilter(sheet, "A1:"+end, nil))
	b.try(b.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: sheet + "!$1:$1", Scope: sheet}))
}

func (b *book) braces() {
	n := 0
	for l := range b.r.lines {
		n++
		for i, c := range columns {
			b.cell(sheetBraces, i+1, n+1, c.value(l), l.zone)
		}
	}
	var heads []string
	var widths []float64
	for _, c := range columns {
		heads, widths = append(heads, c.head), append(widths, c.wide)
	}
	b.heads(sheetBraces, heads, widths, n)
}

var (
	totalHeads  = []string{"Of", "Site", "Wall", "Time zone", "Braces", "Stripped", "Stripped early", "Stripped without permit", "Standing", "With exceptions", "Kept, mean, h", "Kept, least, h", "Margin, least, h", "Days without an early strip", "Since"}
	totalWidths = []float64{9, 18, 14, 20, 9, 9, 9, 10, 9, 11, 9, 9, 9, 12, 12}
)

func (b *book) totals() {
	row := 1
	add := func(of, site, wall, zone string, t Totals, c *Clear) {
		row++
		cells := []any{of, site, wall, zone, t.Braces, t.Stripped, t.Early, t.Unpermitted, t.Standing, t.Exceptions, maybe(t.KeptMeanS), maybe(t.KeptLeastS), maybe(t.MarginLeastS)}
		if c != nil && c.Days >= 0 {
			cells = append(cells, c.Days, c.Since)
		}
		for i, v := range cells {
			b.cell(sheetTotals, i+1, row, v, nil)
		}
	}
	for _, s := range b.r.Sites {
		for _, w := range s.Walls {
			add("wall", s.Site.Site, w.Wall, s.Zone, w.Total, nil)
		}
		add("site", s.Site.Site, "", s.Zone, s.Total, &s.Clear)
	}
	add("all", "", "", "", b.r.Total, nil)
	b.heads(sheetTotals, totalHeads, totalWidths, row-1)
}

func maybe(s *int64) any {
	if s == nil {
		return nil
	}
	return inHours(*s)
}

func (b *book) about() {
	b.try(b.SetColWidth(sheetAbout, "A", "A", 24))
	b.try(b.SetColWidth(sheetAbout, "B", "B", 100))
	for i, x := range b.r.about() {
		b.cell(sheetAbout, 1, i+1, x[0], nil)
		b.cell(sheetAbout, 2, i+1, x[1], nil)
	}
}

// about says what the register is, what it rests on and how it is to be taken.
func (r *Register) about() [][2]string {
	out := [][2]string{
		{"Register", r.title()}, {"Period", r.period()}, {"Made", in(r.At, time.UTC)}, {"Caution", r.Caution},
		{"Rule set", r.Rules}, {"Record through message", fmt.Sprint(r.Through)},
	}
	if !r.Level {
		out = append(out, [2]string{"Doubt", "the record is not level with the stream"})
	}
	for _, d := range r.Doubts {
		out = append(out, [2]string{"Doubt", "every window is shut: " + d})
	}
	if r.Demo {
		out = append(out, [2]string{"Demo", "the times of this record are invented"})
	}
	if c := r.Checkpoint; c != nil {
		out = append(out, [2]string{"Checkpoint", c.Note}, [2]string{"Verifier key", c.Key})
	}
	out = append(out, [2]string{"Times", "by each site's own clock; the sheet of totals names its zone"})
	for _, n := range notes {
		out = append(out, [2]string{"Rule", n})
	}
	return out
}
