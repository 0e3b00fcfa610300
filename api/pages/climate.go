package pages

// climatePages are the pages about how the enclosure behaves.
func (s *Site) climatePages(m mount) {}
