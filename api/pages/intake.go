package pages

// intakePages are the pages about a list of enclosures at once.
func (s *Site) intakePages(m mount) {}
