package light

import (
	"math"
	"time"
)

// Polar says whether the sun stays up or down for the whole day.
type Polar int

// The states of a day.
const (
	SunRisesAndSets Polar = iota
	PolarDay
	PolarNight
)

// Day is the length of one day.
type Day struct {
	Hours          float64 // sunrise to sunset, 0 to 24
	DeclinationDeg float64 // of the sun at noon UTC
	Polar          Polar
}

// sunriseDeg is the altitude of the sun's centre at sunrise and sunset: 34′ of
// refraction and 16′ of solar radius, the 50′ rule of the US weather service's
// tables.
const sunriseDeg = -0.833

// DayLength is the time from sunrise to sunset at a latitude (north positive,
// −90 to 90) on a calendar day from 1901 to 2099; the time of day in date is
// not used.
//
//	cos H = (sin h0 − sin φ sin δ) / (cos φ cos δ), h0 = −0.833°, length = 2H/15 h
//
// with the declination δ of the NOAA solar calculation sheet (NOAA Global
// Monitoring Laboratory, after Meeus; later terms recalled). It holds for a flat
// horizon at sea level and agrees with almanacs to about a minute; near the
// start and end of polar day a minute of error in δ is worth several of length.
func DayLength(latitudeDeg float64, date time.Time) (Day, error) {
	err := first(
		between("latitude_deg", latitudeDeg, -90, 90),
		between("year", float64(date.Year()), 1901, 2099))
	if err != nil {
		return Day{}, err
	}
	noon := time.Date(date.Year(), date.Month(), date.Day(), 12, 0, 0, 0, time.UTC)
	decl := declination(noon)
	phi := radians(latitudeDeg)
	up := math.Sin(radians(sunriseDeg)) - math.Sin(phi)*math.Sin(decl)
	swing := math.Cos(phi) * math.Cos(decl)
	d := Day{DeclinationDeg: degrees(decl)}
	switch { // compared before dividing: at the poles swing is 0
	case up <= -swing:
		d.Hours, d.Polar = 24, PolarDay
	case up >= swing:
		d.Polar = PolarNight
	default:
		d.Hours = 2 * degrees(math.Acos(up/swing)) / 15
	}
	return d, nil
}

// declination of the sun in radians; G is Julian centuries since J2000.
func declination(at time.Time) float64 {
	julianDay := float64(at.Unix())/86400 + 2440587.5
	g := (julianDay - 2451545) / 36525
	meanLong := 280.46646 + g*(36000.76983+g*0.0003032)
	anomaly := radians(357.52911 + g*(35999.05029-g*0.0001537))
	centre := math.Sin(anomaly)*(1.914602-g*(0.004817+g*0.000014)) +
		math.Sin(2*anomaly)*(0.019993-g*0.000101) + math.Sin(3*anomaly)*0.000289
	node := radians(125.04 - 1934.136*g)
	apparent := radians(meanLong + centre - 0.00569 - 0.00478*math.Sin(node))
	obliquity := radians(23.439291 - g*0.013004 + 0.00256*math.Cos(node))
	return math.Asin(math.Sin(obliquity) * math.Sin(apparent))
}

// Photoperiod is the light of one month.
type Photoperiod struct {
	Month       time.Month
	NativeHours float64 // mean day length at the latitude that month
	LightHours  float64 // to set, after the limit
}

// Schedule gives a monthly light schedule for a year from a native latitude.
// maxSwingH limits how far a month may stand from the year's mean, in hours
// (0 to 12; 12 is no limit): a wider native swing is scaled down as a whole, so
// that the shape of the year is kept. To keep an animal from the other
// hemisphere on the keeper's seasons, pass the latitude with its sign turned.
// Errors are *InputError.
func Schedule(latitudeDeg float64, year int, maxSwingH float64) ([12]Photoperiod, error) {
	var out [12]Photoperiod
	if err := between("max_swing_h", maxSwingH, 0, 12); err != nil {
		return out, err
	}
	var mean float64
	for i := range out {
		month := time.Month(i + 1)
		days := time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
		var sum float64
		for day := 1; day <= days; day++ {
			d, err := DayLength(latitudeDeg, time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
			if err != nil {
				return out, err
			}
			sum += d.Hours
		}
		out[i] = Photoperiod{Month: month, NativeHours: sum / float64(days)}
		mean += out[i].NativeHours / 12
	}
	var widest float64
	for _, p := range out {
		widest = math.Max(widest, math.Abs(p.NativeHours-mean))
	}
	share := 1.0
	if widest > maxSwingH {
		share = maxSwingH / widest
	}
	for i := range out {
		out[i].LightHours = math.Min(24, math.Max(0, mean+share*(out[i].NativeHours-mean)))
	}
	return out, nil
}
