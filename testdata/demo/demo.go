// Package demo holds the invented Saltmarsh Lane Rescue, for the pages that show an
// example. Nothing is computed from it.
package demo

import _ "embed"

// VanCSV is a list of donated enclosures as volunteers wrote them down, slips included.
//
//go:embed van.csv
var VanCSV []byte

// DonatedTank is an assessment question.
//
//go:embed donated-dragon-tank.json
var DonatedTank []byte
