package pages

// assessPages are the pages about whether an enclosure is good enough.
func (s *Site) assessPages(m mount) {}
