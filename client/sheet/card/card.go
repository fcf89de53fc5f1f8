package card

import "time"

// A Card is everything that a launch card says.
type Card struct {
	ID       string `json:"id"` // cycle and place in the launch order
	Revision *int   `json:"revision"`
	Digest   string `json:"digest"` // over what is here, but for why it is void, a later catalog and the drop zone

	Cycle       string     `json:"cycle"`
	Deck        string     `json:"deck"`
	Sortie      string     `json:"sortie"`
	Purpose     string     `json:"purpose"`
	Aircraft    string     `json:"aircraft_type"`
	Spot        string     `json:"spot"`
	Order       int        `json:"order"`
	Slot        time.Time  `json:"slot_time"`
	Planned     time.Time  `json:"planned_time"` // the slot before the work on deck was scheduled
	IssuedAt    *time.Time `json:"issued_time"`
	IssuedBy    string     `json:"issued_by"`
	VoidAfter   time.Time  `json:"void_after_time"`
	VoidBecause string     `json:"void_because"`

	// Refusals are why there is no card. With any of them nothing below may be
	// used.
	Refusals []string `json:"refusals"`
	// Voids are why a card that was issued holds no longer. The digest leaves them
	// out, so that a card on paper is known again once it is void.
	Voids []string `json:"void_reasons"`
	// Since is a catalog that came into force after the plan was made; left out
	// where there is none. The digest leaves it out too.
	Since *Since `json:"catalog_since,omitempty"`

	Load        Load        `json:"load"`
	Environment Environment `json:"environment"`
	Numbers     Numbers     `json:"numbers"`
	Cue         *Cue        `json:"cue"` // absent without units
	Check       *Check      `json:"check_line"`
	Commit      *Commit     `json:"commit"`
	Actions     []Action    `json:"actions"`
	Box         *Box        `json:"box"`
	Zones       Zones       `json:"zones"`
	Cautions    []Caution   `json:"cautions"`

	ModelVersion    string `json:"model_version"`
	CatalogRevision string `json:"catalog_revision"`
	RequestDigest   string `json:"request_digest"`
}

// Load is the aircraft as it is to be.
type Load struct {
	GrossMassKG   *float64 `json:"gross_mass_kg"`   // without units
	LiftoffMassKG *float64 `json:"liftoff_mass_kg"` // units included
	Flap          string   `json:"flap"`
	Units         []Unit   `json:"units"`
}

// A Unit is one unit on its station.
type Unit struct {
	Station string   `json:"station"`
	Lot     string   `json:"lot"`
	Type    string   `json:"booster_type"`
	Serial  string   `json:"serial"` // empty is left for the hand
	GrainC  *float64 `json:"grain_temperature_c"`
}

// Environment is the air, wind and deck that the numbers are for.
type Environment struct {
	HeadwindMPS         *float64 `json:"headwind_mps"`
	CreditedHeadwindMPS *float64 `json:"credited_headwind_mps"`
	CrosswindMPS        *float64 `json:"crosswind_mps"` // positive from starboard
	PlannedOn           string   `json:"planned_on"`
	NaturalFromDeg      *float64 `json:"natural_from_deg"`
	NaturalMPS          *float64 `json:"natural_mps"`
	LullMPS             *float64 `json:"lull_mps"`
	GustMPS             *float64 `json:"gust_mps"`
	WindSource          string   `json:"wind_source"`
	CourseDeg           *float64 `json:"course_deg"`
	ShipMPS             *float64 `json:"ship_mps"`
	TemperatureC        *float64 `json:"temperature_c"`
	PressurePa          *float64 `json:"pressure_pa"`
	PressureAltitudeM   *float64 `json:"pressure_altitude_m"`
	RollingFriction     *float64 `json:"rolling_friction"`
}

// Numbers are the run and the climb.
type Numbers struct {
	RunM                   *float64 `json:"run_m"`
	RunP50M                *float64 `json:"run_p50_m"`
	RunPercentileM         *float64 `json:"run_percentile_m"`
	Percentile             *float64 `json:"percentile"`
	Probability            *float64 `json:"probability"`
	RunFactor              *float64 `json:"run_factor"`
	RequiredRunM           *float64 `json:"required_run_m"`
	AvailableM             *float64 `json:"available_m"`
	MarginM                *float64 `json:"margin_m"`
	RotateMPS              *float64 `json:"rotate_airspeed_mps"`
	RotateDistanceM        *float64 `json:"rotate_distance_m"`
	RotateS                *float64 `json:"rotate_time_s"`
	BurnEndMinusLiftoffS   *float64 `json:"burn_end_minus_liftoff_s"`
	GradientWithBoosters   *float64 `json:"gradient_with_boosters"`
	GradientWithoutBooster *float64 `json:"gradient_without_boosters"`
}

// Cue is the moment of firing, said in ways that agree.
type Cue struct {
	OnBrakes  bool     `json:"on_brakes"`
	ReactionS *float64 `json:"reaction_s"` // first thrust to brake release, on the brakes
	TimeS     *float64 `json:"time_s"`
	// AirspeedMPS is with the wind as it is, CreditedMPS as credited.
	AirspeedMPS *float64 `json:"airspeed_mps"`
	CreditedMPS *float64 `json:"credited_airspeed_mps"`
	DistanceM   *float64 `json:"distance_m"`
	EarlyM      *float64 `json:"half_second_early_m"` // run lost
	LateM       *float64 `json:"half_second_late_m"`
}

// Check is the acceleration check at a mark.
type Check struct {
	MarkM       float64  `json:"mark_m"`
	ExpectedS   *float64 `json:"expected_time_s"`
	ExpectedMPS *float64 `json:"expected_airspeed_mps"`
	LeastMPS    *float64 `json:"least_airspeed_mps"`
	LatestS     *float64 `json:"latest_time_s"`
	// StopFits is whether a stop from the mark still fits; absent where it is not
	// known, which is then no.
	StopFits *bool `json:"stop_fits"`
}

// Commit is the last moments from which a stop fits.
type Commit struct {
	Lit   *Last `json:"lit"`
	Unlit *Last `json:"unlit"`
}

// Last is the last moment from which a stop fits.
type Last struct {
	Exists      bool     `json:"exists"`
	ToLiftoff   bool     `json:"to_liftoff"`
	TimeS       *float64 `json:"time_s"`
	DistanceM   *float64 `json:"distance_m"`
	AirspeedMPS *float64 `json:"airspeed_mps"`
}

// Do is what to do when something fails.
type Do string

// What there is to do.
const (
	Go         Do = "GO"
	Stop       Do = "STOP"
	GoOrStop   Do = "GO or STOP" // as the text says
	Unprovided Do = "NO WAY OUT"
)

// An Action is what to do when something fails.
type Action struct {
	When  string   `json:"when"`
	Do    Do       `json:"do"`
	GoM   *float64 `json:"go_run_m"` // the longest
	StopM *float64 `json:"stop_distance_m"`
	KnowS *float64 `json:"recognised_s"`
	// Which tells cases apart that want different actions.
	Which string `json:"which"`
}

// Box is the conditions inside which the card holds, all of them at once.
type Box struct {
	LeastHeadwindMPS     *float64 `json:"least_headwind_mps"` // credited
	GreatestHeadwindMPS  *float64 `json:"greatest_headwind_mps"`
	GreatestCrosswindMPS *float64 `json:"greatest_crosswind_mps"`
	LeastMassKG          *float64 `json:"least_mass_kg"`
	GreatestMassKG       *float64 `json:"greatest_mass_kg"`
	ColdestC             *float64 `json:"coldest_air_c"`
	HottestC             *float64 `json:"hottest_air_c"`
	GrainLeastC          *float64 `json:"coldest_grain_c"`
	GrainGreatestC       *float64 `json:"hottest_grain_c"`
	SpotM                *float64 `json:"spot_m"` // either way along the deck
}

// Zones are the places to keep clear.
type Zones struct {
	KeepClearM     *float64 `json:"keep_clear_m"` // behind the nozzles
	KeepClearBasis string   `json:"keep_clear_basis"`
	MisfireWaitS   *float64 `json:"misfire_wait_s"`
	Drop           *Drop    `json:"drop_zone"`
}

// Drop is where spent units come down, from the point of release along the track.
type Drop struct {
	TrackDeg *float64 `json:"track_deg"`
	NearM    float64  `json:"near_m"`
	FarM     float64  `json:"far_m"`
	LeftM    float64  `json:"left_m"` // negative to port
	RightM   float64  `json:"right_m"`
	ClearS   float64  `json:"clear_s"`
}

// A Caution is something that the numbers give cause to say.
type Caution struct {
	Severity string `json:"severity"`
	Text     string `json:"text"`
	// Waiver is who accepted it; left out where nobody did.
	Waiver *Waiver `json:"waiver,omitempty"`

	id string // its code in the answer
}

// Since is a catalog that came into force after a plan was made.
type Since struct {
	Revision string `json:"catalog_revision"`
	// Changed are the resources that the launch uses and that differ in it.
	Changed []string `json:"changed"`
}
