package perf

// A Version is one version of the model and why it came about.
type Version struct {
	Version string
	Date    string // the day it was made
	Changes []string
}

// Versions are all versions of the model, the newest first; the first is
// [ModelVersion]. A version is added with the change that makes it necessary.
func Versions() []Version {
	return []Version{
		{
			Version: "1.0.0", Date: "2026-11-25",
			Changes: []string{
				"First version: standard atmosphere and moist air, wind over deck, thrust tables and propellers, booster units by trace and grain temperature, ground run, stop, rotation, air distance and flight off the bow, failures and their legs, firing time, limits by root, chance.",
				"Corrections of aircraft types enter as data, as factors on thrust, rolling friction and zero-lift drag; without one every number is as before, so that the version stays.",
			},
		},
	}
}
