package quantity

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

type inner struct {
	Shared string  `json:"shared"`
	Depth  *Length `json:"depth,omitzero"`
	Notes  []string
}

type own struct{ x int }

func (o own) MarshalJSON() ([]byte, error) { return strconv.AppendInt(nil, int64(o.x), 10), nil }

type word string

// everything has a field of every kind that the encoder knows, and some that it leaves
// to json.Marshal.
type everything struct {
	inner
	Shared string           `json:"shared"`
	Word   word             `json:"word,omitzero"`
	Number float64          `json:"number"`
	Whole  int              `json:"whole,omitzero"`
	Small  uint8            `json:"small"`
	Yes    *bool            `json:"yes,omitzero"`
	L      Length           `json:"length,omitzero"`
	A      Area             `json:"area"`
	V      Volume           `json:"volume"`
	M      *Mass            `json:"mass"`
	T      Temperature      `json:"temperature"`
	P      Power            `json:"power"`
	F      Fraction         `json:"fraction"`
	H      Hours            `json:"hours"`
	U      UVIndex          `json:"uv"`
	Band   Band             `json:"band"`
	Bands  []Band           `json:"bands,omitempty"`
	ByName map[word]*Length `json:"by_name,omitempty"`
	Any    any              `json:"any"`
	List   []any            `json:"list,omitzero"`
	Bytes  []byte           `json:"bytes"`
	When   time.Time        `json:"when,omitzero"`
	Own    own              `json:"own"`
	Raw    jsontext.Value   `json:"raw,omitzero"`
	Fixed  [2]float64       `json:"fixed"`
	Again  *everything      `json:"again,omitzero"`
	Hidden string           `json:"-"`
}

func drawn(t *rapid.T, depth int) everything {
	number := rapid.OneOf(rapid.Float64Range(-1e10, 1e10), rapid.Map(rapid.IntRange(-1e7, 1e7), func(n int) float64 { return float64(n) / 1000 }),
		rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1e-6, 9.99e-7, 1e21, 9.9e20, 1e-300, math.MaxFloat64, 0.1 + 0.2, 1e9, 999999999.9999}), rapid.Float64())
	text := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "plain", "38–42 °C", `a "b" \c`, "a\tb\n\x00", "\u2028<&>"}))
	pointer := func(name string) *float64 {
		if rapid.Bool().Draw(t, name) {
			return nil
		}
		x := number.Draw(t, name)
		return &x
	}
	symbol := rapid.SampledFrom([]string{"cm", "°C", "%", "UVI", "K", "animals"})
	out := everything{
		inner:  inner{Shared: "hidden", Depth: (*Length)(pointer("depth")), Notes: rapid.SliceOfN(text, 0, 3).Draw(t, "notes")},
		Shared: text.Draw(t, "shared"), Word: word(text.Draw(t, "word")), Number: number.Draw(t, "number"), Whole: rapid.Int().Draw(t, "whole"),
		Small: rapid.Uint8().Draw(t, "small"), L: Length(number.Draw(t, "l")), A: Area(number.Draw(t, "a")), V: Volume(number.Draw(t, "v")),
		M: (*Mass)(pointer("m")), T: Temperature(number.Draw(t, "t")), P: Power(number.Draw(t, "p")), F: Fraction(number.Draw(t, "f")),
		H: Hours(number.Draw(t, "h")), U: UVIndex(number.Draw(t, "u")), Band: Band{pointer("low"), pointer("high"), symbol.Draw(t, "unit")},
		ByName: map[word]*Length{}, Bytes: []byte(text.Draw(t, "bytes")), When: time.Unix(rapid.Int64Range(0, 1e9).Draw(t, "when"), 0).UTC(), Own: own{rapid.Int().Draw(t, "own")},
		Raw: jsontext.Value(`{"b": 1, "a": [2]}`), Fixed: [2]float64{number.Draw(t, "first"), 2},
	}
	for range rapid.IntRange(0, 2).Draw(t, "bands") {
		out.Bands = append(out.Bands, Band{pointer("low"), pointer("high"), symbol.Draw(t, "unit")})
	}
	for range rapid.IntRange(0, 3).Draw(t, "names") {
		out.ByName[word(text.Draw(t, "name"))] = (*Length)(pointer("length"))
	}
	switch rapid.IntRange(0, 3).Draw(t, "any") {
	case 0:
		out.Any = out.Band
	case 1:
		out.Any = Length(number.Draw(t, "l"))
	case 2:
		out.Any = map[string]any{"z": 1.5, "a": []string{"x"}}
	}
	if rapid.Bool().Draw(t, "listed") {
		out.List = []any{nil, true, "x", Value{1, "cm"}, out.Depth}
	}
	if depth > 0 {
		again := drawn(t, depth-1)
		out.Again = &again
	}
	return out
}

// TestEncoder: the encoder gives byte for byte what json.Marshal gives.
func TestEncoder(t *testing.T) {
	encoders := []*Encoder{NewEncoder(Metric, false), NewEncoder(Imperial, false)}
	rapid.Check(t, func(t *rapid.T) {
		v := drawn(t, 1)
		for _, system := range []System{Metric, Imperial} {
			for _, v := range []any{v, &v, []everything{v}, map[string]everything{"x": v}} {
				want, err := json.Marshal(v, json.WithMarshalers(Marshalers(system)), json.Deterministic(true))
				got, failed := encoders[system].Append([]byte("x"), v)
				switch {
				case (err != nil) != (failed != nil):
					t.Fatalf("json.Marshal: %v; Append: %v", err, failed)
				case err == nil && !bytes.Equal(append([]byte("x"), want...), got):
					t.Fatal(cmp.Diff("x"+string(want), string(got)))
				}
			}
		}
	})
}

// Numbers are the shortest that read back as themselves, as JSON's other encoders
// write them.
func TestAppendNumber(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.OneOf(rapid.Float64(), rapid.Map(rapid.Int64Range(-1e14, 1e14), func(n int64) float64 { return float64(n) / 1e4 }),
			rapid.Map(rapid.Uint64(), math.Float64frombits), rapid.Map(rapid.IntRange(0, 1e6), func(n int) float64 { return float64(n)*0.1 + 0.01 })).Draw(t, "x")
		want, err := json.Marshal(x)
		got, failed := AppendNumber(nil, x)
		if (err != nil) != (failed != nil) || err == nil && !bytes.Equal(want, got) {
			t.Fatalf("%g is written %s, %v; want %s, %v", x, got, failed, want, err)
		}
	})
}

// Text that is not UTF-8 is an error, or replaced where that is asked for.
func TestEncoderText(t *testing.T) {
	bad := struct {
		Text string `json:"text"`
	}{"a\xff\xfeb"}
	if _, err := NewEncoder(Metric, false).Append(nil, bad); err == nil {
		t.Error("bytes that are not UTF-8 are written")
	}
	got, err := NewEncoder(Metric, true).Append(nil, bad)
	want, _ := json.Marshal(bad, jsontext.AllowInvalidUTF8(true))
	if err != nil || !slices.Equal(want, got) {
		t.Errorf("%s, %v; want %s", got, err, want)
	}
}

// TestWritten: what a struct keeps of itself is copied in the system it was written
// in, wherever the struct stands, and a copy without it is written anew.
func TestWritten(t *testing.T) {
	type fixed struct {
		Name    string   `json:"name"`
		Size    Length   `json:"size"`
		Written *Written `json:"-"`
	}
	type answer struct {
		Own  fixed   `json:"own"`
		List []fixed `json:"list"`
	}
	one := fixed{"a", Centimetres(25.4), &Written{}}
	v := answer{one, []fixed{one, {Name: "b"}}}
	for system, size := range map[System]string{Metric: `{"value":25.4,"unit":"cm"}`, Imperial: `{"value":10,"unit":"in"}`} {
		e := NewEncoder(system, false)
		zero := `{"value":0,"unit":"cm"}`
		if system == Imperial {
			zero = `{"value":0,"unit":"in"}`
		}
		want := `{"own":{"name":"a","size":` + size + `},"list":[{"name":"a","size":` + size + `},{"name":"b","size":` + zero + `}]}`
		for range 2 {
			if got, err := e.Append(nil, v); err != nil || string(got) != want {
				t.Fatalf("%v: %s, not %s (%v)", system, got, want, err)
			}
		}
		changed := one
		changed.Name = "c"
		if got, _ := e.Append(nil, changed); strings.Contains(string(got), `"c"`) {
			t.Error("what was kept is not used")
		}
		changed.Written = nil
		if got, err := e.Append(nil, changed); err != nil || string(got) != `{"name":"c","size":`+size+`}` {
			t.Errorf("%v: %s (%v)", system, got, err)
		}
		if got, err := NewEncoder(system, true).Append(nil, fixed{"c", one.Size, one.Written}); err != nil || !strings.Contains(string(got), `"c"`) {
			t.Errorf("a lenient encoder uses what a strict one kept: %s (%v)", got, err)
		}
	}
}
