package pages

// referencePages are the pages about the API reference and the quick start.
func (s *Site) referencePages(m mount) {}
