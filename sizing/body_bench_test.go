package sizing_test

import (
	"testing"

	"denwright/care"
	"denwright/sizing"
)

// BenchmarkRequire asks for one adult, a juvenile and a measured animal: the
// main question must stay cheap however much is known about growth and mass.
func BenchmarkRequire(b *testing.B) {
	c := catalogue(b)
	for _, tt := range []struct {
		name    string
		species string
		animal  sizing.Animal
	}{
		{"adult", "pogona-vitticeps", sizing.Animal{Count: 1, Stage: care.Adult}},
		{"juvenile", "testudo-hermanni", sizing.Animal{Count: 1, Stage: care.Juvenile}},
	} {
		b.Run(tt.name, func(b *testing.B) {
			b.ReportAllocs()
			q := sizing.Question{Species: tt.species, Animals: []sizing.Animal{tt.animal}}
			for b.Loop() {
				if _, err := sizing.Require(c, q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
