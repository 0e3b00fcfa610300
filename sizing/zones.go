package sizing

import (
	"denwright/care"
	"denwright/care/quantity"
)

// zones lays the jobs of the floor out as shares. Shares are common practice, no
// source; the hot spot lies within the warm end, and digging ground may lie under
// the others, so shares do not add up to one.
func zones(c *care.Catalogue, g group, s Space) []Zone {
	targets := &profileOf(c, g.species, g.youngest).zones
	out := make([]Zone, 0, 6)
	add := func(z Zone) {
		if z.Basis == "" {
			z.Basis = ownBasis
		}
		if z.Area == 0 && s.FloorArea > 0 {
			z.Area = quantity.Area(z.FloorShare) * s.FloorArea
		}
		if z.FloorShare == 0 && s.FloorArea > 0 {
			z.FloorShare = min(1, quantity.Fraction(z.Area/s.FloorArea))
		}
		out = append(out, z)
	}
	n := g.species.Nature
	one, all := g.footprint(), quantity.Area(g.count)
	landAir := c.Range(g.species.ID, care.WarmAir, g.youngest).Standing != care.NotApplicable
	if t := targets.hotSpot; len(t) > 0 && t[0].Parameter == care.HotSpot {
		add(Zone{Code: "hot_spot", Name: "hot spot", Area: one * all * hotSpotShare, Targets: t,
			Basis: "at least as large as the whole animal, for each animal (Baines and others 2016, recalled); the half more is " + ownBasis,
			Note:  "inside the warm end, with the UV light over the same place; temperatures are of the surface"})
	}
	if landAir {
		add(Zone{Code: "warm_end", Name: "warm end", FloorShare: 1.0 / 3, Targets: targets.warmEnd, Note: "with a retreat the animal fits in whole"})
		add(Zone{Code: "cool_end", Name: "cool end", FloorShare: 1.0 / 3, Targets: targets.coolEnd, Note: "with a retreat at UV index 0 that costs no warmth or cover"})
	}
	if t := targets.humidRetreat; landAir && len(t) > 0 {
		add(Zone{Code: "humid_retreat", Name: "humid retreat", Area: one * all * retreatShare, Targets: t})
	}
	water := Zone{Code: "water", Name: "water", Targets: targets.water}
	switch {
	case s.Water != nil && s.Water.Area > 0:
		water.Area, water.Basis = s.Water.Area, "published rule"
	case n.Habit == care.Aquatic:
		water.FloorShare, water.Note = 0.75, "the rest is land or haul-out where the animal leaves the water"
		if !landAir {
			water.FloorShare, water.Note = 1, "water throughout"
		}
	case n.Swims == 3 || n.Habit == care.SemiAquatic:
		water.FloorShare, water.Note = 0.4, "deep enough to swim, with a way out for every animal"
	case n.Swims == 2:
		water.Area, water.Note = 2*one*all, "a basin to lie in, with a way out"
	default:
		water.Area, water.Note = one/2, "a dish to drink from"
	}
	add(water)
	switch n.Digs {
	case 3:
		add(Zone{Code: "digging", Name: "digging ground", FloorShare: 0.5, Targets: targets.digging, Note: "at full depth; rocks stand on the floor of the enclosure, never on soil"})
	case 2:
		add(Zone{Code: "digging", Name: "digging ground", FloorShare: 1.0 / 3, Targets: targets.digging, Note: "at full depth; rocks stand on the floor of the enclosure, never on soil"})
	}
	return out
}

// cautions are those that every answer carries, and those of the species.
func cautions(s *care.Species, jurisdiction string) []string {
	out := []string{
		"Figures are published or recalled ranges, not a diagnosis: a veterinarian who knows these animals decides for a sick or unusual one.",
		"Heat and mains near water: guard every source the animal can reach, regulate it, and have mains work done to the local code by a licensed electrician, behind a residual-current device.",
	}
	if s.Venomous {
		out = append(out, "Venomous: keeping may need a permit, a locked enclosure, a second trained person and a plan for a bite; ask the competent authority first.")
	}
	for _, h := range s.Hazards {
		out = append(out, "Hazard to people: "+h+".")
	}
	out = append(out, "Wash hands after handling animals, water or furnishings: healthy reptiles and amphibians can carry Salmonella.")
	if s.Trade != "none" {
		out = append(out, "Trade listing as recalled: "+s.Trade+". Listings change; the competent authority says what papers are needed.")
	}
	if jurisdiction == "" {
		out = append(out, "Local law may ask for more: name a jurisdiction, and ask the competent authority.")
	} else {
		out = append(out, "The rules held may be incomplete or out of date: the competent authority decides what is lawful.")
	}
	return out
}
