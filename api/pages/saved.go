package pages

// savedPages are the pages about signing in, saved setups and their assessments.
func (s *Site) savedPages(m mount) {}
