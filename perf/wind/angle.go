package wind

import (
	"math"

	"bowroll/perf/elementary"
)

// sincos gives sine and cosine of an angle in degrees, exact at multiples of 90
// so that a wind from dead abeam has no headwind at all.
func sincos(deg float64) (sin, cos float64) {
	deg = math.Mod(deg, 360)
	quarter := math.Round(deg / 90)
	sin, cos = elementary.Sincos((deg - float64(90*quarter)) * math.Pi / 180)
	switch (int(quarter)%4 + 4) % 4 {
	case 1:
		return cos, -sin
	case 2:
		return -sin, -cos
	case 3:
		return -cos, sin
	}
	return sin, cos
}

// circle brings an angle into 0 (included) to 360 degrees (excluded).
func circle(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	if deg >= 360 {
		return 0
	}
	return deg + 0 // never -0
}

// turn gives the way from one direction to another, -180 (excluded) to 180
// degrees, positive to starboard.
func turn(from, to float64) float64 {
	way := circle(to - from)
	if way > 180 {
		way -= 360
	}
	return way
}

// direction gives where a vector with these components points, 0 to 360
// degrees clockwise from the first; 0 for no vector.
func direction(ahead, starboard float64) float64 {
	return circle(elementary.Atan2(starboard, ahead) * 180 / math.Pi)
}

// cosines gives the least and the greatest cosine of the angles within spread
// of deg, spread at most 180 degrees.
func cosines(deg, spread float64) (least, greatest float64) {
	if spread == 0 {
		_, c := sincos(deg)
		return c, c
	}
	_, a := sincos(deg - spread)
	_, b := sincos(deg + spread)
	least, greatest = min(a, b), max(a, b)
	if math.Abs(turn(0, deg)) <= spread {
		greatest = 1
	}
	if math.Abs(turn(180, deg)) <= spread {
		least = -1
	}
	return least, greatest
}
