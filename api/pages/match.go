package pages

// matchPages are the pages about what could live in an enclosure.
func (s *Site) matchPages(m mount) {}
