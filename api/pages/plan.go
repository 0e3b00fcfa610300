package pages

// planPages are the pages about where everything goes.
func (s *Site) planPages(m mount) {}
