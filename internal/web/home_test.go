package web

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"waycall/internal/board/boardtest"
	"waycall/internal/record"
)

// shown are the references of the jobs on a page of the list, in their order.
func shown(page string) (all []string) {
	for _, m := range regexp.MustCompile(`<h2><a href="/job/[0-9a-f]+">([^<]*)</a>`).FindAllStringSubmatch(page, -1) {
		all = append(all, m[1])
	}
	return all
}

// Jobs are found by each of their words, by state, and by pages; each stands on one page.
func TestFindJobs(t *testing.T) {
	dir := t.TempDir()
	job := boardtest.Read(t, "terrace.yaml")
	for i := range jobsPerPage + 2 {
		job.Reference = fmt.Sprintf("J-%02d", i)
		job.Address, job.Tester = fmt.Sprintf("%d Example Row", i), "JW"
		if i == 7 {
			job.Address, job.Tester = "The Old <Mill>", "AB"
		}
		w := begin(t, dir, job)
		if i == 9 {
			w.do(nil, record.Event{Kind: record.Finished})
		}
		w.close()
	}
	if err := os.WriteFile(filepath.Join(dir, "BAD-1.waycall"), []byte("not a job"), 0o600); err != nil {
		t.Fatal(err)
	}
	c := serve(t, dir)
	list, err := c.server.s.Jobs.List(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	written := list[0].Changed.Local().Format("2 Jan 2006")
	for query, want := range map[string]string{
		"find=mill": "J-07", "find=old+MILL": "J-07", "find=ab": "J-07", "find=j-31": "J-31", "find=mill+j-08": "", "state=finished": "J-09",
		"find=j-09&state=finished": "J-09", "find=j-08&state=finished": "", "state=signed": "", "state=running": "", "find=J-00+2026": "", "find=%3Cmill%3E": "J-07",
	} {
		if query == "find=J-00+2026" { // the day on which it was written
			page := c.get("/?find=" + url.QueryEscape("J-00 "+written))
			if got := shown(page); len(got) != 1 {
				t.Errorf("by its day: %q", got)
			}
			continue
		}
		page := c.get("/?" + query)
		if got := strings.Join(shown(page), " "); got != want {
			t.Errorf("%s: %q, want %q", query, got, want)
		}
		if want == "" && !strings.Contains(text(page), "No job is so.") {
			t.Errorf("%s does not say what to do: %s", query, text(page))
		}
	}
	if page := c.get("/?state=unread"); len(shown(page)) != 0 || !strings.Contains(text(page), "BAD-1") || !strings.Contains(text(page), "1 of 51 jobs") {
		t.Errorf("what cannot be read: %s", text(page))
	}
	seen := map[string]bool{}
	next := "/"
	pages := 0
	for ; next != ""; pages++ {
		page := c.get(next)
		for _, ref := range shown(page) {
			if seen[ref] {
				t.Errorf("%s stands on two pages", ref)
			}
			seen[ref] = true
		}
		next = ""
		if m := regexp.MustCompile(`href="([^"]*)">Next page`).FindStringSubmatch(page); m != nil {
			next = strings.ReplaceAll(m[1], "&amp;", "&")
		}
	}
	if pages != 2 || len(seen) != jobsPerPage+2 {
		t.Errorf("%d jobs on %d pages", len(seen), pages)
	}
	for _, odd := range []string{"/?page=-1", "/?page=99999999999999999999", "/?page=7", "/?state=x&page=0", "/?find=" + strings.Repeat("x+", 2000)} {
		c.get(odd)
	}
}
