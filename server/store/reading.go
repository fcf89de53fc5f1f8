package store

import "time"

// Reading is one reading of a logger beside a lot.
type Reading struct {
	Lot string
	// Place is where the logger is; empty where the lot is in one place.
	Place string
	// Time is when it was taken.
	Time time.Time
	// TemperatureC is the temperature, degrees Celsius.
	TemperatureC float64
	// RelativeHumidity is 0 to 1; nil where it was not measured.
	RelativeHumidity *float64
	// Source names the logger or the person.
	Source string
	// Seq is the entry of the log that recorded it.
	Seq int64
}
