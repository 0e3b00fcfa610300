package heat

import (
	"fmt"
	"math"
)

// HeatCapacity is what the walls, the air and given contents store per kelvin of
// inside air over the room, J/K. A wall's layer counts by the share of the
// difference that it sees at steady state: one near the inside in full, one
// near the outside hardly. contents is the capacity of substrate, water and
// decor, J/K (mass times specific heat). Specific heats are recalled; mesh stores nothing.
func HeatCapacity(e Enclosure, contents float64) (float64, error) {
	if err := within("contents", contents, 0, 1e9, "J/K"); err != nil {
		return 0, err
	}
	if _, err := newNetwork(&e); err != nil {
		return 0, err
	}
	sum := contents + airHeat*e.volume()
	flow := [6]Flow{Top: Upward, Floor: Downward}
	cover, err := e.cover()
	if err != nil {
		return 0, under("substrate", err)
	}
	for s := Front; s <= Floor; s++ {
		f := e.Faces.side(s)
		for _, part := range []struct {
			share  float64
			layers []Layer
		}{{(1 - f.Mesh) * (1 - f.FrameShare), f.Layers}, {(1 - f.Mesh) * f.FrameShare, f.FrameLayers}} {
			if part.share == 0 {
				continue
			}
			r := StillAir(flow[s])
			if s == Floor {
				r += cover
			}
			total, err := Resistance(r, StillAir(flow[s])+f.ExtraResistance, part.layers...)
			if err != nil {
				return 0, under("faces."+s.String(), err)
			}
			for _, l := range part.layers {
				own, _ := l.R()
				if err := first(within("faces."+s.String()+".density", l.Density, 0, 3e4, "kg/m³"), within("faces."+s.String()+".specific_heat", l.SpecificHeat, 0, 1e4, "J/(kg·K)")); err != nil {
					return 0, err
				}
				sum += part.share * e.area(s) * l.Density * l.SpecificHeat * l.Thickness * (1 - (r+own/2)/total)
				r += own
			}
		}
	}
	return sum, nil
}

// Warming is how an enclosure warms after its heaters are switched on.
type Warming struct {
	// TimeConstant τ = C/G in s: after it, 63 % of the final rise is reached. 0 where Lossless.
	TimeConstant float64
	// Time in s until the rise asked for; 0 where Reached is false.
	Time float64
	// Reached is false where the power can't hold that rise at all.
	Reached bool
	// Nearest is the rise, K, that the power holds in the end, or the rise asked for where it is reached.
	Nearest float64
	Reason  string
	// Lossless: no loss was given; Time is then the lower bound t = C·ΔT/P and TimeConstant is 0.
	Lossless bool
}

// WarmUp gives the time in which power W warms a capacity C (J/K, above 0) by a
// rise K (0 or more) against a loss conductance G (W/K, 0 or more; see
// [State.Conductance]): t = −τ·ln(1 − G·ΔT/P), τ = C/G; without loss t = C·ΔT/P.
func WarmUp(capacity, conductance, power, rise float64) (Warming, error) {
	if err := first(positive("capacity", capacity, 1e10, "J/K"), within("conductance", conductance, 0, 1e6, "W/K"),
		within("power", power, 0, 1e6, "W"), within("rise", rise, 0, 200, "K")); err != nil {
		return Warming{}, err
	}
	w := Warming{Lossless: conductance == 0}
	if !w.Lossless {
		w.TimeConstant = capacity / conductance
	}
	switch {
	case rise == 0:
		w.Reached = true
	case power == 0:
		w.Reason = "no power is given"
	case w.Lossless:
		w.Time, w.Reached, w.Nearest = capacity*rise/power, true, rise
	case conductance*rise >= power:
		w.Nearest = power / conductance
		w.Reason = fmt.Sprintf("%g W holds %.1f K at most", power, w.Nearest)
	default:
		w.Time, w.Reached, w.Nearest = -w.TimeConstant*math.Log1p(-conductance*rise/power), true, rise
	}
	return w, nil
}

// Conductance is the whole loss to the room per kelvin of mean air temperature,
// W/K: what passes from the air through faces and vents, over the mean rise. It
// is 0 where the air is at the room's temperature.
func (s State) Conductance() float64 {
	rise := s.Mean() - s.Room
	if math.Abs(rise) < 1e-9 {
		return 0
	}
	return (s.Ledger.Out() - s.Ledger.Outside - s.Ledger.Latent) / rise
}

// Remaining is the share of an excess (of temperature over the room, or of a gas
// over the outside) that is left after a time, exp(−t/τ): how far a box has cooled
// by the end of an unheated night. Both times in the same unit, τ above 0.
func Remaining(timeConstant, t float64) (float64, error) {
	return math.Exp(-t / timeConstant), first(positive("time_constant", timeConstant, 1e12, ""), within("t", t, 0, 1e12, ""))
}

// Energy is E = P·h·d/1000 in kWh: watts, hours a day (0 to 24) and days.
func Energy(watts, hours, days float64) (float64, error) {
	return watts * hours * days / 1000, first(within("watts", watts, 0, 1e6, "W"), within("hours", hours, 0, 24, "h"), within("days", days, 0, 1e5, "d"))
}

// Duty is the share of the time that a thermostat keeps a heater on, D = Q/P,
// from 0 to 1. A loss above the rating is an error that names the nearest: the
// heater runs all the time and falls short.
func Duty(loss, rating float64) (float64, error) {
	if err := first(within("loss", loss, 0, 1e6, "W"), positive("rating", rating, 1e6, "W")); err != nil {
		return 0, err
	}
	if loss > rating {
		return 1, bad("rating", "%g W can't replace a loss of %g W even when always on", rating, loss)
	}
	return loss / rating, nil
}
