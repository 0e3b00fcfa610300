package store

import (
	"slices"
	"strings"
)

// Line is one line of a difference.
type Line struct {
	Op   string `json:"op"`            // " " kept, "-" only in the old text, "+" only in the new
	Old  int    `json:"old,omitempty"` // line number, from 1
	New  int    `json:"new,omitempty"`
	Text string `json:"text"`
}

// editLimit bounds the search for a shortest script; beyond it the differing
// middle is shown as replaced whole. Own choice: memory grows with its square.
const editLimit = 1500

// Difference lists the lines of both texts in order: a shortest script of
// deletions and insertions that turns old into new (Myers, "An O(ND) difference
// algorithm and its variations", Algorithmica 1, 1986; recalled).
func Difference(old, new string) []Line {
	a, b := lines(old), lines(new)
	head := 0
	for head < len(a) && head < len(b) && a[head] == b[head] {
		head++
	}
	tail := 0
	for tail < len(a)-head && tail < len(b)-head && a[len(a)-1-tail] == b[len(b)-1-tail] {
		tail++
	}
	out := make([]Line, 0, len(a)+len(b)-head-tail)
	keep := func(i, j int) { out = append(out, Line{" ", i + 1, j + 1, a[i]}) }
	for i := range head {
		keep(i, i)
	}
	for _, step := range script(a[head:len(a)-tail], b[head:len(b)-tail]) {
		i, j := head+step.i, head+step.j
		switch step.op {
		case '-':
			out = append(out, Line{"-", i + 1, 0, a[i]})
		case '+':
			out = append(out, Line{"+", 0, j + 1, b[j]})
		default:
			keep(i, j)
		}
	}
	for i := range tail {
		keep(len(a)-tail+i, len(b)-tail+i)
	}
	return out
}

// lines splits a text; whether the last line ends is not told apart.
func lines(text string) []string {
	if text == "" {
		return nil
	}
	return strings.Split(strings.TrimSuffix(text, "\n"), "\n")
}

// step is one edit: of line i of the old text, or line j of the new.
type step struct {
	op   byte
	i, j int
}

// script finds a shortest path through the edit graph. furthest[k] is how far the
// old text was consumed on diagonal k with d edits; trace[d] is its state before.
func script(a, b []string) []step {
	n, m := len(a), len(b)
	most := min(n+m, editLimit)
	furthest := make([]int, 2*most+3)
	at := most + 1 // index of diagonal 0
	var trace [][]int
	for d := range most + 1 {
		trace = append(trace, slices.Clone(furthest[at-d-1:at+d+2]))
		for k := -d; k <= d; k += 2 {
			x := furthest[at+k-1] + 1
			if k == -d || k != d && furthest[at+k-1] < furthest[at+k+1] {
				x = furthest[at+k+1]
			}
			for x < n && x-k < m && a[x] == b[x-k] {
				x++
			}
			furthest[at+k] = x
			if x >= n && x-k >= m {
				return walkBack(trace, n, m)
			}
		}
	}
	out := make([]step, 0, n+m)
	for i := range a {
		out = append(out, step{'-', i, 0})
	}
	for j := range b {
		out = append(out, step{'+', 0, j})
	}
	return out
}

// walkBack reads the path from its end.
func walkBack(trace [][]int, x, y int) (out []step) {
	for d := len(trace) - 1; d >= 0; d-- {
		v, at, k := trace[d], d+1, x-y
		from := k - 1
		if k == -d || k != d && v[at+k-1] < v[at+k+1] {
			from = k + 1
		}
		px := v[at+from]
		py := px - from
		for x > px && y > py {
			x, y = x-1, y-1
			out = append(out, step{' ', x, y})
		}
		if d > 0 {
			if from == k+1 {
				out = append(out, step{'+', px, py})
			} else {
				out = append(out, step{'-', px, py})
			}
			x, y = px, py
		}
	}
	slices.Reverse(out)
	return out
}
