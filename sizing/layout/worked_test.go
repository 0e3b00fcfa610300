package layout_test

import (
	"time"

	"denwright/sizing/layout"
)

// worked are five unlike animals, invented in their particulars, in boxes and with
// equipment as keepers have them.
func worked() map[string]layout.Brief {
	year := []layout.Season{
		{Name: "spring", From: time.March, To: time.May, Hours: 12.5, NightHeat: true},
		{Name: "summer", From: time.June, To: time.August, Hours: 14},
		{Name: "autumn", From: time.September, To: time.November, Hours: 12},
		{Name: "winter", From: time.December, To: time.February, Hours: 10, NightHeat: true},
	}
	return map[string]layout.Brief{
		"digging-lizard": {
			Seed: 1,
			Box: layout.Box{Length: 2.4, Width: 1.2, Height: 1.2, Substrate: 0.30, Panel: 0.018, Glass: 0.006, Material: "plywood",
				Rock: []layout.Rock{{Wall: "back", Thickness: 0.06, Foam: 0.04, FoamMaterial: "extruded polystyrene"}}},
			Animal:   layout.Animal{Count: 1, Length: 0.45, Width: 0.14, BackHeight: 0.12, Reach: 0.45, Climbs: 1, Digs: 3},
			Needs:    layout.Needs{HotSpot: 0.17, Retreat: 0.15, HumidRetreat: 0.15, Water: 0.20, WaterDepth: 0.12, Digging: 1.0, Feeding: 0.05, Clear: 0.5},
			Practice: layout.TradePractice(),
			Fixtures: []layout.Fixture{
				{Kind: layout.Basking, Count: 4, Watts: 90, Opening: 0.1016, Hang: 0.03, MaxHang: 0.40, Beam: 60, Near: 0.30, Far: 0.45, Guarded: true},
				{Kind: layout.UV, Count: 1, Watts: 54, Length: 0.86, Width: 0.10, Hang: 0.06, MaxHang: 0.40, Near: 0.28, Far: 0.50, Guarded: true, Corded: true},
				{Kind: layout.NightHeat, Count: 1, Watts: 100, Opening: 0.0889, Hang: 0.03, Near: 0.25, Guarded: true},
				{Kind: layout.PlantLight, Count: 1, Watts: 40, Length: 1.0, Width: 0.06, Hang: 0.08, Guarded: true, SplashProof: true, Secured: true, Corded: true},
				{Kind: layout.Nozzle, Count: 2, Throw: 0.35, LitresPerMinute: 0.06},
			},
			Climate: &layout.Climate{AirC: 28, NightC: 24, WaterC: 25, RoomC: 21, RoomHumidity: 0.45, AirChanges: 2, DayLow: 0.6, DayHigh: 0.8, NightLow: 0.65, NightHigh: 0.9},
			Light:   layout.Light{Dawn: 7 * 60, Seasons: year, MistDays: []time.Weekday{time.Monday, time.Wednesday, time.Friday}, FeedDays: []time.Weekday{time.Tuesday, time.Saturday}},
		},
		"tree-lizard": {
			Seed:   2,
			Box:    layout.Box{Length: 1.2, Width: 0.9, Height: 1.8, Drainage: 0.05, Substrate: 0.10, Panel: 0.012, Glass: 0.006, Material: "plywood"},
			Animal: layout.Animal{Count: 1, Length: 0.25, Width: 0.07, BackHeight: 0.06, Reach: 0.25, Climbs: 3, Digs: 0, Swims: 1},
			Needs:  layout.Needs{HotSpot: 0.05, Retreat: 0.045, Water: 0.09, WaterDepth: 0.10, Feeding: 0.02, Clear: 0.4},
			Fixtures: []layout.Fixture{
				{Kind: layout.Basking, Count: 2, Watts: 50, Opening: 0.10, Hang: 0.03, MaxHang: 0.20, Beam: 50, Near: 0.25, Far: 0.40, Guarded: true},
				{Kind: layout.UV, Count: 1, Watts: 39, Length: 0.60, Width: 0.10, Hang: 0.05, MaxHang: 0.25, Near: 0.22, Far: 0.45, Guarded: true, Corded: true, SplashProof: true, Secured: true},
				{Kind: layout.PlantLight, Count: 1, Watts: 30, Length: 0.8, Width: 0.06, Hang: 0.06, Guarded: true, Corded: true, SplashProof: true, Secured: true},
				{Kind: layout.Nozzle, Count: 3, Throw: 0.25, LitresPerMinute: 0.07},
				{Kind: layout.Fan, Count: 1, Watts: 4, Length: 0.12, Width: 0.12, Hang: 0.04, Guarded: true, Corded: true, SplashProof: true, Secured: true},
				{Kind: layout.WaterWall, Count: 1, Watts: 12, Length: 0.30, Width: 1.0, LitresPerMinute: 6},
			},
			Climate: &layout.Climate{AirC: 27, NightC: 22, WaterC: 24, RoomC: 21, RoomHumidity: 0.45, AirChanges: 1.5, DayLow: 0.6, DayHigh: 0.85, NightLow: 0.75, NightHigh: 0.95},
			Light:   layout.Light{Dawn: 6*60 + 30, Seasons: year},
		},
		"heavy-snake": {
			Seed: 3, WarmEnd: "right",
			Box:      layout.Box{Length: 2.4, Width: 0.9, Height: 0.9, Substrate: 0.06, Panel: 0.018, Glass: 0.006, Material: "plywood"},
			Animal:   layout.Animal{Count: 1, Length: 0.40, Width: 0.15, BackHeight: 0.10, Reach: 0.8, Climbs: 1, Digs: 0, Swims: 1},
			Needs:    layout.Needs{HotSpot: 0.16, Retreat: 0.20, HumidRetreat: 0.16, Water: 0.25, WaterDepth: 0.18, Clear: 0.3},
			Practice: layout.TradePractice(),
			Fixtures: []layout.Fixture{
				{Kind: layout.Basking, Count: 2, Watts: 100, Opening: 0.1524, Hang: 0.04, MaxHang: 0.25, Beam: 80, Near: 0.30, Far: 0.60, Guarded: true},
				{Kind: layout.UV, Count: 1, Watts: 39, Length: 0.60, Width: 0.10, Hang: 0.08, MaxHang: 0.2, Near: 0.30, Far: 0.60, Guarded: true, Corded: true},
				{Kind: layout.Mat, Count: 1, Watts: 60, Length: 0.50, Width: 0.30},
				{Kind: layout.Fog, Count: 1, Opening: 0.032, Throw: 0.20, LitresPerMinute: 0.0015},
			},
			Climate: &layout.Climate{AirC: 28, NightC: 25, WaterC: 26, RoomC: 21, RoomHumidity: 0.45, AirChanges: 4, DayLow: 0.55, DayHigh: 0.75, NightLow: 0.70, NightHigh: 0.8},
			Light:   layout.Light{Seasons: year, FeedDays: []time.Weekday{time.Sunday}},
		},
		"tortoise": {
			Seed:   4,
			Box:    layout.Box{Length: 2.0, Width: 1.0, Height: 0.60, Substrate: 0.12, Panel: 0.018, Glass: 0.006, Material: "plywood"},
			Animal: layout.Animal{Count: 2, Length: 0.20, Width: 0.16, BackHeight: 0.10, Reach: 0.12, Climbs: 0, Digs: 2},
			Needs:  layout.Needs{HotSpot: 0.10, Retreat: 0.10, HumidRetreat: 0.07, Water: 0.06, WaterDepth: 0.04, Digging: 0.66, Feeding: 0.06, Clear: 0.5},
			Fixtures: []layout.Fixture{
				{Kind: layout.Basking, Count: 2, Watts: 80, Opening: 0.12, Hang: 0.03, MaxHang: 0.15, Beam: 70, Near: 0.25, Far: 0.40},
				{Kind: layout.UV, Count: 1, Watts: 39, Length: 0.86, Width: 0.10, Hang: 0.05, MaxHang: 0.2, Near: 0.25, Far: 0.45, Corded: true},
				{Kind: layout.PlantLight, Count: 1, Watts: 20, Length: 0.9, Width: 0.05, Hang: 0.05, Corded: true},
			},
			Light: layout.Light{Seasons: year[:3], FeedDays: []time.Weekday{time.Monday, time.Tuesday, time.Thursday, time.Saturday}},
		},
		"frog": {
			Seed:   5,
			Box:    layout.Box{Length: 0.9, Width: 0.45, Height: 0.6, Drainage: 0.05, Substrate: 0.08, Panel: 0.006, Glass: 0.005, Material: "acrylic"},
			Animal: layout.Animal{Count: 4, Length: 0.04, Width: 0.02, BackHeight: 0.02, Reach: 0.5, Climbs: 2, Swims: 1},
			Needs:  layout.Needs{Retreat: 0.006, HumidRetreat: 0.006, Water: 0.03, WaterDepth: 0.03, Feeding: 0.003, Clear: 0.5},
			Fixtures: []layout.Fixture{
				{Kind: layout.UV, Count: 1, Watts: 14, Length: 0.40, Width: 0.06, Hang: 0.03, MaxHang: 0.05, Near: 0.15, Guarded: true, Corded: true, SplashProof: true, Secured: true},
				{Kind: layout.PlantLight, Count: 1, Watts: 15, Length: 0.6, Width: 0.04, Hang: 0.03, Guarded: true, Corded: true, SplashProof: true, Secured: true},
				{Kind: layout.Nozzle, Count: 2, Throw: 0.12, LitresPerMinute: 0.05},
				{Kind: layout.Fog, Count: 1, Opening: 0.025, Throw: 0.08, LitresPerMinute: 0.004},
				{Kind: layout.Fan, Count: 1, Watts: 2, Length: 0.06, Width: 0.06, Hang: 0.02, Guarded: true, Corded: true, SplashProof: true, Secured: true},
			},
			Climate: &layout.Climate{AirC: 24, NightC: 20, WaterC: 22, RoomC: 20, RoomHumidity: 0.45, AirChanges: 1.5, DayLow: 0.75, DayHigh: 0.95, NightLow: 0.85, NightHigh: 0.97},
			Light:   layout.Light{Dawn: 8 * 60, Seasons: year},
		},
	}
}
