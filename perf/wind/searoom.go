package wind

import "math"

// SeaRoom is the time and the water that a launch takes: the turn from the
// present course, at the launch speed, then the launch.
type SeaRoom struct {
	TurnS           *float64 // nil where the rate of turn was not given, and the turn left out
	LaunchS         float64
	TotalS          float64
	LaunchDistanceM float64 // run on the launch course
	AlongTrackM     float64 // made good along the present course, negative for ground lost
	OffTrackM       float64 // distance off the present track at the end, to the side turned to
}

// seaRoom follows an arc of radius speed/rate through the change of course, then
// a straight run: the arc gains r sin(change) ahead and r (1 - cos(change))
// aside.
func seaRoom(changeDeg, speedMPS, launchS float64, rateDegPS *float64) SeaRoom {
	change := math.Abs(changeDeg)
	sin, cos := sincos(change)
	room := SeaRoom{LaunchS: launchS, TotalS: launchS, LaunchDistanceM: speedMPS * launchS}
	room.AlongTrackM = room.LaunchDistanceM * cos
	room.OffTrackM = room.LaunchDistanceM * sin
	if rateDegPS != nil {
		turning := change / *rateDegPS
		radius := speedMPS / (*rateDegPS * math.Pi / 180)
		room.TurnS = &turning
		room.TotalS += turning
		room.AlongTrackM += float64(radius * sin)
		room.OffTrackM += float64(radius * (1 - cos))
	}
	return room
}
