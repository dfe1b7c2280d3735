// This file has what may be done to the boards of a draft besides writing into its fields.
// Each says in a sentence what it did.

package setup

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/english"
	"waycall/internal/waymark"
)

// mostWays is how many ways a board of a board file may have, and mostBoards how many
// boards a job.
const mostWays, mostBoards = 99, 99

// Blank returns a board of n ways, 1 to 99, of which nothing is known but their numbers
// and the voltage of the public supply.
func Blank(n int) Board {
	b := Board{Fields: Values{"voltage": "230", "phases": "1"}}
	for i := range min(max(n, 1), mostWays) {
		b.Ways = append(b.Ways, Values{"way": strconv.Itoa(i + 1)})
	}
	return b
}

// AddBoard adds a blank board.
func (d *Draft) AddBoard() string {
	if len(d.Boards) >= mostBoards {
		return "A job has at most 99 boards. Nothing was added."
	}
	b := Blank(1)
	b.Fields["number"] = strconv.Itoa(len(d.Boards) + 1)
	d.Boards = append(d.Boards, b)
	return fmt.Sprintf("Board %d was added, of one way.", len(d.Boards))
}

// RemoveBoard takes a board off.
func (d *Draft) RemoveBoard(b int) string {
	if !d.hasBoard(b) {
		return ""
	}
	if len(d.Boards) == 1 {
		return "A job needs a board. Nothing was taken off."
	}
	d.Boards = slices.Delete(d.Boards, b, b+1)
	return fmt.Sprintf("Board %d was taken off.", b+1)
}

func (d *Draft) hasBoard(b int) bool    { return b >= 0 && b < len(d.Boards) }
func (d *Draft) hasWay(b, w int) bool   { return d.hasBoard(b) && w >= 0 && w < len(d.Boards[b].Ways) }
func (d *Draft) mark(b, w int) string   { return d.Boards[b].Ways[w]["way"] }
func (d *Draft) called(b, w int) string { return "way " + d.Boards[b].Ways[w].orOpen("way") }

func (v Values) orOpen(name string) string {
	if v[name] == "" {
		return "without a number"
	}
	return v[name]
}

// AddWay adds a way after the last of a board.
func (d *Draft) AddWay(b int) string {
	if !d.hasBoard(b) {
		return ""
	}
	if len(d.Boards[b].Ways) >= mostWays {
		return "A board has at most 99 ways. Nothing was added."
	}
	w := Values{}
	if n := len(d.Boards[b].Ways); n == 0 {
		w["way"] = "1"
	} else {
		w.Set("way", after(d.mark(b, n-1)))
	}
	d.Boards[b].Ways = append(d.Boards[b].Ways, w)
	return english.Sentence(fmt.Sprintf("%s was added", english.Capital(d.called(b, len(d.Boards[b].Ways)-1))))
}

// after is the mark of the way that comes after one: 4 after 3, 1L2 after 1L1; "" where
// the board must tell.
func after(mark string) string {
	n, err := waymark.Parse(mark)
	if err != nil {
		return ""
	}
	next := n + 1
	switch line := waymark.Line(n); {
	case line == 0:
	case line < 3:
		next = waymark.Of(waymark.Place(n), line+1)
	default:
		next = waymark.Of(waymark.Place(n)+1, 1)
	}
	if !waymark.Known(next) {
		return ""
	}
	return waymark.Print(next)
}

// Copy puts a copy of a way after it. The ways that follow move on where the copy takes
// their number.
func (d *Draft) Copy(b, w int) string {
	if !d.hasWay(b, w) {
		return ""
	}
	ways := d.Boards[b].Ways
	if len(ways) >= mostWays {
		return "A board has at most 99 ways. Nothing was copied."
	}
	c := ways[w].clone()
	delete(c, "supplies") // one way feeds a board
	c.Set("way", after(d.mark(b, w)))
	ways = slices.Insert(ways, w+1, c)
	d.Boards[b].Ways = ways
	moved := 0
	for i := w + 2; i < len(ways) && ways[i-1]["way"] != "" && ways[i]["way"] == ways[i-1]["way"]; i++ {
		ways[i].Set("way", after(ways[i]["way"]))
		moved++
	}
	told := fmt.Sprintf("%s was copied to %s", english.Capital(d.called(b, w)), d.called(b, w+1))
	if moved > 0 {
		told += fmt.Sprintf("; what followed it, %s, has the next number now", english.Count(moved, "way"))
	}
	return english.Sentence(told)
}

// Move changes what stands at a place of the board with its neighbour, the one before for
// -1 and the one after for 1. The numbers stay at their places.
func (d *Draft) Move(b, w, by int) string {
	if !d.hasWay(b, w) || !d.hasWay(b, w+by) {
		return "It is at the end of the board already."
	}
	ways := d.Boards[b].Ways
	here, there := ways[w]["way"], ways[w+by]["way"]
	ways[w], ways[w+by] = ways[w+by], ways[w]
	ways[w].Set("way", here)
	ways[w+by].Set("way", there)
	return english.Sentence(fmt.Sprintf("What was at %s is at %s now, and the other way round", d.called(b, w), d.called(b, w+by)))
}

// Remove takes a way off. The numbers of the others stay as they are marked.
func (d *Draft) Remove(b, w int) string {
	if !d.hasWay(b, w) {
		return ""
	}
	called := d.called(b, w)
	d.Boards[b].Ways = slices.Delete(d.Boards[b].Ways, w, w+1)
	return english.Sentence(english.Capital(called) + " was taken off")
}

// Group puts ways of a board behind one residual current device, or gives what was ticked
// the same of it; with "" for name they are behind none that is shared.
func (d *Draft) Group(b int, ways []int, name, rated, kind, bar string) string {
	if !d.hasBoard(b) || len(ways) == 0 {
		return "No way is ticked. Tick the ways that share the device, then send it again."
	}
	for _, w := range ways {
		if !d.hasWay(b, w) {
			continue
		}
		v := d.Boards[b].Ways[w]
		for field, text := range map[string]string{"device.rcd.group": name, "device.rcd.rated": rated, "device.rcd.type": kind, "neutral_bar": bar} {
			if name == "" && strings.HasPrefix(field, "device.rcd.") || text != "" {
				v.Set(field, text)
			}
		}
	}
	if name == "" {
		return english.Count(len(ways), "way") + " taken out of their group: no residual current device is named for them now."
	}
	return fmt.Sprintf("%s put into group %s.", english.Count(len(ways), "way"), name)
}
