// Package light computes ultraviolet light from lamps and the length of the
// day: the UV index (UVI) against distance for tubes and for compact or spot
// lamps, the loss in mesh and sheets, the distances at which a wanted range is
// met, the floor area covered, and a yearly light schedule from a latitude.
//
// Every lamp is scaled from one UVI read at one distance, because the figure on
// a box can't be turned into a UVI. Lengths are metres, angles degrees,
// transmissions and shares fractions from 0 to 1. Nothing here knows a species.
//
// UVI and the unweighted reading of a broadband UV-B meter (µW/cm²) are
// different quantities with no fixed ratio; this package takes UVI only.
package light

import (
	"fmt"
	"math"
)

// InputError reports a value that is not physical or lies outside what the
// formulas hold for. Field is the name of the input in snake_case.
type InputError struct {
	Field, Reason string
}

func (e *InputError) Error() string { return e.Field + " " + e.Reason }

// UnreachableError reports a target that can't be had, why, and the nearest
// value that can.
type UnreachableError struct {
	Reason     string
	NearestUVI float64 // the reachable UVI closest to what was wanted
	AtM        float64 // the distance below the lamp at which NearestUVI holds, m
}

func (e *UnreachableError) Error() string {
	return fmt.Sprintf("%s; nearest reachable: UVI %.2f at %.2f m", e.Reason, e.NearestUVI, e.AtM)
}

// between gives an InputError unless low <= x <= high. NaN fails.
func between(field string, x, low, high float64) error {
	if x >= low && x <= high {
		return nil
	}
	return &InputError{field, fmt.Sprintf("must be from %g to %g, not %g", low, high, x)}
}

// positive gives an InputError unless 0 < x <= high. NaN fails.
func positive(field string, x, high float64) error {
	if x > 0 && x <= high {
		return nil
	}
	return &InputError{field, fmt.Sprintf("must be above 0 and at most %g, not %g", high, x)}
}

// first returns the first error that is not nil.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func radians(deg float64) float64 { return deg * math.Pi / 180 }
func degrees(rad float64) float64 { return rad * 180 / math.Pi }

// Spectrum says what is known of a lamp's shortest wavelengths.
type Spectrum int

// The three judgements of a spectrum.
const (
	// SpectrumUnknown: no spectrum was measured or stated. It is not a pass.
	SpectrumUnknown Spectrum = iota
	// SpectrumSunLike: nothing is emitted below ShortestSafeNM.
	SpectrumSunLike
	// SpectrumHazard: wavelengths are emitted that sunlight at the ground does
	// not hold. The lamp is unsafe at any UVI and any distance.
	SpectrumHazard
)

// ShortestSafeNM is the wavelength below which emission counts as a hazard, in nm.
// Sunlight at the ground begins between 290 and 295 nm (Baines, "Reptile
// lighting information", Reptiles magazine, 2009).
const ShortestSafeNM = 290.0

// String returns "unknown", "sun-like" or "hazard".
func (s Spectrum) String() string {
	switch s {
	case SpectrumSunLike:
		return "sun-like"
	case SpectrumHazard:
		return "hazard"
	}
	return "unknown"
}

// JudgeSpectrum judges a lamp by the shortest wavelength at which it emits, in
// nm (100 to 800). nil is unknown. A UVI does not enter: the index can be low
// and the lamp still harmful.
func JudgeSpectrum(shortestNM *float64) (Spectrum, error) {
	if shortestNM == nil {
		return SpectrumUnknown, nil
	}
	if err := between("shortest_wavelength_nm", *shortestNM, 100, 800); err != nil {
		return SpectrumUnknown, err
	}
	if *shortestNM < ShortestSafeNM {
		return SpectrumHazard, nil
	}
	return SpectrumSunLike, nil
}
