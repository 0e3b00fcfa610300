package quantity

import (
	"fmt"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Valuer is a typed quantity that can be written with its unit.
type Valuer interface{ Value() Value }

// Band is a range in a stated unit. A missing bound is open: {"high": 50, "unit": "°C"}.
type Band struct {
	Low, High *float64
	Unit      string
}

// In returns the band in the system asked for.
func (b Band) In(s System) Band {
	out := Band{Unit: Value{0, b.Unit}.In(s).Unit}
	for _, p := range []struct{ from, to **float64 }{{&b.Low, &out.Low}, {&b.High, &out.High}} {
		if *p.from != nil {
			n := Value{**p.from, b.Unit}.In(s).Number
			*p.to = &n
		}
	}
	return out
}

// String writes the band, such as "38–42 °C", "up to 50 °C" or "22 °C".
func (b Band) String() string {
	switch {
	case b.Low != nil && b.High != nil && *b.Low == *b.High:
		return number(*b.Low) + " " + b.Unit
	case b.Low != nil && b.High != nil:
		return number(*b.Low) + "–" + number(*b.High) + " " + b.Unit
	case b.High != nil:
		return "up to " + number(*b.High) + " " + b.Unit
	case b.Low != nil:
		return "at least " + number(*b.Low) + " " + b.Unit
	}
	return "no figure"
}

// Marshalers writes every quantity and band in the system given. Pass it to
// json.Marshal with json.WithMarshalers; without it, quantities are written in metric.
func Marshalers(s System) *json.Marshalers {
	return json.JoinMarshalers(
		json.MarshalToFunc(func(e *jsontext.Encoder, a Appender) error { return writeIn(e, a, s) }),
		json.MarshalToFunc(func(e *jsontext.Encoder, v Valuer) error { return writeIn(e, v.Value(), s) }),
	)
}

// Write is MarshalJSONTo of an Appender: it writes the value in metric.
func Write(e *jsontext.Encoder, a Appender) error { return writeIn(e, a, Metric) }

func writeIn(e *jsontext.Encoder, a Appender, s System) error {
	raw, err := a.AppendJSON(e.AvailableBuffer(), s)
	if err != nil {
		return err
	}
	return e.WriteValue(raw)
}

type wire struct {
	Value *float64 `json:"value"`
	Unit  string   `json:"unit"`
}

func read[T ~float64](d *jsontext.Decoder, to *T, dim dimension) error {
	var w wire
	if err := json.UnmarshalDecode(d, &w); err != nil {
		return err
	}
	if w.Value == nil {
		return fmt.Errorf("value is missing")
	}
	x, err := toBase(*w.Value, w.Unit, dim)
	*to = T(x)
	return err
}

// MarshalJSONTo writes the length in metric.
func (l Length) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, l.Value()) }

// MarshalJSONTo writes the area in metric.
func (a Area) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, a.Value()) }

// MarshalJSONTo writes the volume in metric.
func (v Volume) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, v.Value()) }

// MarshalJSONTo writes the mass in metric.
func (m Mass) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, m.Value()) }

// MarshalJSONTo writes the temperature in °C.
func (t Temperature) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, t.Value()) }

// MarshalJSONTo writes the power in watts.
func (p Power) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, p.Value()) }

// MarshalJSONTo writes the fraction in percent.
func (f Fraction) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, f.Value()) }

// MarshalJSONTo writes the duration in hours.
func (h Hours) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, h.Value()) }

// MarshalJSONTo writes the UV index.
func (u UVIndex) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, u.Value()) }

// MarshalJSONTo writes the band in metric.
func (b Band) MarshalJSONTo(e *jsontext.Encoder) error { return Write(e, b) }

// UnmarshalJSONFrom reads {"value", "unit"}; the error lists the units accepted.
func (l *Length) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, l, length) }

// UnmarshalJSONFrom reads {"value", "unit"}.
func (a *Area) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, a, area) }

// UnmarshalJSONFrom reads {"value", "unit"}.
func (v *Volume) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, v, volume) }

// UnmarshalJSONFrom reads {"value", "unit"}.
func (m *Mass) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, m, mass) }

// UnmarshalJSONFrom reads {"value", "unit"}.
func (t *Temperature) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, t, temperature) }

// UnmarshalJSONFrom reads {"value", "unit"}.
func (p *Power) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, p, power) }

// UnmarshalJSONFrom reads {"value", "unit"}.
func (f *Fraction) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, f, share) }

// UnmarshalJSONFrom reads {"value", "unit"}.
func (h *Hours) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, h, duration) }

// UnmarshalJSONFrom reads {"value", "unit"}.
func (u *UVIndex) UnmarshalJSONFrom(d *jsontext.Decoder) error { return read(d, u, uvIndex) }
