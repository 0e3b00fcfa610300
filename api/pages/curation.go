package pages

// curationPages are the pages about records, their revisions and review.
func (s *Site) curationPages(m mount) {}
