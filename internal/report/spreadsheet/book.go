// This file writes the cells of a workbook: numbers with the places that they were read
// with, and all other text as text.

package spreadsheet

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/report"
	"waycall/internal/words"
)

// mostInCell is how much text a cell of the format can hold, in characters of 16
// bits, less the mark that says that it was cut.
const mostInCell = 32_767 - 1

// figured is a number with the places that it is written with.
type figured string

// book is a workbook being written; the first error stays.
type book struct {
	*excelize.File
	err    error
	head   int
	text   int
	result map[string]int
	places map[int]int // styles of numbers by their decimal places
}

func (b *book) try(err error) {
	if b.err == nil {
		b.err = err
	}
}

func (b *book) newStyle(s *excelize.Style) int {
	if s.Alignment == nil {
		s.Alignment = &excelize.Alignment{Vertical: "top"}
	}
	n, err := b.NewStyle(s)
	b.try(err)
	return n
}

func (b *book) style() {
	b.places = map[int]int{}
	b.head = b.newStyle(&excelize.Style{Font: &excelize.Font{Bold: true, Color: "FFFFFF"}, Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"1E344A"}}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	b.text = b.newStyle(&excelize.Style{NumFmt: 49, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}}) // text, and it stays so when it is edited
	b.result = map[string]int{}
	for _, r := range []check.Result{check.CannotSay, check.Fail, check.Investigate} {
		rgb := report.Shades[string(r)]
		b.result[string(r)] = b.newStyle(&excelize.Style{NumFmt: 49, Font: &excelize.Font{Bold: r == check.Fail}, Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{fmt.Sprintf("%02X%02X%02X", rgb[0], rgb[1], rgb[2])}}})
	}
}

// number returns the style of numbers with so many decimal places.
func (b *book) number(places int) int {
	if n, ok := b.places[places]; ok {
		return n
	}
	format := "0"
	if places > 0 {
		format += "." + strings.Repeat("0", min(places, 20))
	}
	b.places[places] = b.newStyle(&excelize.Style{CustomNumFmt: &format})
	return b.places[places]
}

func (b *book) sheet(name string, head []string, rows [][]any) {
	if b.err != nil {
		return
	}
	_, err := b.NewSheet(name)
	b.try(err)
	b.try(b.SetPanes(name, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}))
	landscape, a4, fit, all := "landscape", 9, true, 0
	b.try(b.SetPageLayout(name, &excelize.PageLayoutOptions{Orientation: &landscape, Size: &a4, FitToHeight: &all}))
	b.try(b.SetSheetProps(name, &excelize.SheetPropsOptions{FitToPage: &fit}))
	wide := make([]int, len(head))
	for i, h := range head {
		for word := range strings.FieldsSeq(h) {
			wide[i] = max(wide[i], len(word))
		}
		b.put(name, i, 0, h)
	}
	for r, row := range rows {
		for i, v := range row {
			wide[i] = max(wide[i], utf8.RuneCountInString(b.put(name, i, r+1, v)))
		}
	}
	for i, n := range wide {
		column, err := excelize.ColumnNumberToName(i + 1)
		b.try(err)
		b.try(b.SetColWidth(name, column, column, float64(min(60, max(6, n+2)))))
	}
}

// put writes one cell and returns how it looks. An empty one is left out.
func (b *book) put(sheet string, column, row int, v any) string {
	at, err := excelize.CoordinatesToCellName(column+1, row+1)
	b.try(err)
	switch v := v.(type) {
	case float64:
		b.try(b.SetCellFloat(sheet, at, v, -1, 64))
		return words.Number(v)
	case figured:
		x, err := strconv.ParseFloat(string(v), 64)
		b.try(err)
		_, decimals, _ := strings.Cut(string(v), ".")
		b.try(b.SetCellFloat(sheet, at, x, -1, 64))
		style := b.number(len(decimals))
		b.try(b.SetCellStyle(sheet, at, at, style))
		return string(v)
	case string:
		text := bounded(v)
		style, special := b.result[text]
		switch {
		case row == 0:
			style = b.head
		case !special:
			style = b.text
		}
		if text != "" || row == 0 {
			b.try(b.SetCellStr(sheet, at, text))
			b.try(b.SetCellStyle(sheet, at, at, style))
		}
		return text
	}
	panic(fmt.Sprintf("a cell of type %T", v))
}

// bounded is s as one line of visible characters that fits into a cell.
func bounded(s string) string {
	s = printable.Words(strings.ToValidUTF8(s, "\uFFFD"))
	n := 0
	for i, r := range s {
		if n++; r > 0xffff {
			n++
		}
		if n > mostInCell {
			return s[:i] + "…"
		}
	}
	return s
}
