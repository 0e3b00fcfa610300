package sizing

import (
	"fmt"
	"sync"

	"denwright/care"
	"denwright/sizing/score"
)

// needed is what a group of animals needs of an enclosure, made ready to be put to
// any. Nothing in it is to be changed.
type needed struct {
	*score.Needs
	law *lawfulNeed // nil without a jurisdiction
}

// neededKey is all of a group that its needs hang on.
type neededKey struct {
	species         *care.Species
	youngest        care.Stage
	count           int
	least, most     bodyOf
	fight, mayFight bool
	jurisdiction    string
}

// neededFew keeps the needs of the groups asked about last with the catalogue: animals
// told by their stage, which most are, come up again and again. Whatever is measured
// in an enclosure is no part of it.
type neededFew struct {
	mu   sync.RWMutex
	kept map[neededKey]*needed
}

type neededFewKey struct{}

// keptGroups bounds the memory of neededFew, at about 8 kB each.
const keptGroups = 250

// neededBy gives what the animals need, from what is kept where it is.
func neededBy(c *care.Catalogue, g group, jurisdiction string) (*needed, error) {
	few := care.Kept(c, neededFewKey{}, func() *neededFew { return &neededFew{kept: map[neededKey]*needed{}} })
	key := neededKey{species: g.species, youngest: g.youngest, count: g.count, least: g.least, most: g.most, jurisdiction: jurisdiction}
	key.fight, key.mayFight = fights(g.species, g)
	few.mu.RLock()
	n := few.kept[key]
	few.mu.RUnlock()
	if n != nil {
		return n, nil
	}
	n, err := newNeeded(c, g, jurisdiction)
	if err != nil {
		return nil, err
	}
	few.mu.Lock()
	defer few.mu.Unlock()
	if len(few.kept) >= keptGroups {
		clear(few.kept)
	}
	few.kept[key] = n
	return n, nil
}

func newNeeded(c *care.Catalogue, g group, jurisdiction string) (*needed, error) {
	w := wantsOf(c, g, jurisdiction)
	criteria, err := w.criteria()
	if err != nil {
		return nil, err
	}
	n := &needed{}
	if n.Needs, err = score.NewNeeds(criteria, facts(c, g)); err != nil {
		return nil, fmt.Errorf("needs: %w", err)
	}
	if n.law, err = w.lawful(); err != nil {
		return nil, fmt.Errorf("law: %w", err)
	}
	return n, nil
}
