package card

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Sources are the answers that a card is made from.
type Sources struct {
	Cycle  *bowrollv1.Cycle
	Plan   *bowrollv1.CyclePlan
	Launch *bowrollv1.PlannedLaunch
	// Takeoff is the launch computed with everything that a card says; nil takes
	// what the plan has.
	Takeoff  *bowrollv1.Takeoff
	Deck     *bowrollv1.Deck
	Aircraft *bowrollv1.AircraftType
	Boosters map[string]*bowrollv1.BoosterType // by lot
	// Since is the catalog in force now; nil where it is the plan's own.
	Since *Since
}

// caution says what a later catalog means for the card.
func (s *Since) caution(planned string) Caution {
	if len(s.Changed) == 0 {
		return Caution{Severity: "note", Text: fmt.Sprintf("The card is computed with catalog %s, as it was planned. Catalog %s is in force now; nothing that this launch uses differs in it.", planned, s.Revision)}
	}
	return Caution{Severity: "warning", Text: fmt.Sprintf("The catalog has changed since this launch was planned: %s. The card is computed with catalog %s, as it was planned; %s is in force now. Plan anew before launching on it.",
		strings.Join(s.Changed, ", "), planned, s.Revision)}
}

// Issue is what the one who issues a card adds.
type Issue struct {
	Revision *int
	By       string     // empty is left for the hand
	At       *time.Time // nil is left for the hand
	// ValidFor is how long after its slot a card holds. Zero voids it at its slot:
	// there is no time that it would be safe to take for granted.
	ValidFor time.Duration
	// Kept is set for a card issued from a plan that is kept.
	Kept *Kept
}

// Build makes the card of one launch.
func Build(s Sources, issue Issue) (Card, error) {
	if s.Takeoff == nil {
		s.Takeoff = s.Launch.GetTakeoff()
	}
	if s.Takeoff == nil {
		s.Takeoff = &bowrollv1.Takeoff{}
	}
	if s.Deck == nil {
		s.Deck = &bowrollv1.Deck{}
	}
	if s.Aircraft == nil {
		s.Aircraft = &bowrollv1.AircraftType{}
	}
	sortie := sortieOf(s.Cycle, s.Launch.GetSortie())
	start := s.Cycle.GetStartTime().AsTime().UTC()
	c := Card{
		ID:              fmt.Sprintf("%s-%02d", s.Plan.GetId(), s.Launch.GetOrder()),
		Revision:        issue.Revision,
		Cycle:           s.Cycle.GetDisplayName(),
		Deck:            deckName(s),
		Sortie:          s.Launch.GetSortie(),
		Purpose:         sortie.GetDisplayName(),
		Aircraft:        aircraftName(s, sortie),
		Spot:            s.Launch.GetSpot(),
		Order:           int(s.Launch.GetOrder()),
		Slot:            start.Add(time.Duration(launchS(s) * float64(time.Second))),
		Planned:         start.Add(time.Duration(s.Launch.GetLaunchS() * float64(time.Second))),
		IssuedAt:        issue.At,
		IssuedBy:        issue.By,
		Load:            load(s, sortie),
		Environment:     environment(s),
		Numbers:         numbers(s.Takeoff),
		Cue:             cue(s.Takeoff),
		Check:           check(s.Takeoff),
		Commit:          commit(s.Takeoff),
		Actions:         actions(s.Takeoff),
		Box:             box(s),
		Zones:           zones(s),
		Cautions:        cautions(s),
		Voids:           []string{},
		ModelVersion:    s.Plan.GetProvenance().GetModelVersion(),
		CatalogRevision: s.Plan.GetProvenance().GetCatalogRevision(),
		RequestDigest:   s.Plan.GetProvenance().GetRequestDigest(),
	}
	if c.Cycle == "" {
		c.Cycle = s.Plan.GetId()
	}
	c.VoidAfter, c.VoidBecause = void(s, c.Slot, issue.ValidFor)
	if k := issue.Kept; k != nil {
		c.ID = k.id(s.Launch.GetOrder())
		c.VoidAfter, c.VoidBecause = k.until(void(s, c.Slot, 366*24*time.Hour))
		k.serials(c.Load.Units)
		k.narrow(c.Box)
		c.Cautions = k.waived(c.Cautions)
	}
	c.Refusals = refusals(s, c)
	if issue.Kept != nil && issue.Revision == nil {
		c.Refusals = append(c.Refusals, "No card was issued for this sortie.")
	}
	if err := c.sign(); err != nil {
		return c, err
	}
	if s.Since != nil { // said anew at each printing: the digest is that of the card as it was issued
		c.Since = s.Since
		c.Cautions = append([]Caution{s.Since.caution(c.CatalogRevision)}, c.Cautions...)
	}
	if issue.Kept != nil {
		c.Voids = issue.Kept.voids()
	}
	return c, nil
}

// task is the work on deck for the launch, where the plan carries a timeline.
func task(s Sources) *bowrollv1.DeckTask {
	for _, t := range s.Plan.GetTimeline().GetTasks() {
		if t.GetSortie() == s.Launch.GetSortie() {
			return t
		}
	}
	return nil
}

// launchS is when the launch can go: as planned, or later where the work on deck
// takes longer.
func launchS(s Sources) float64 {
	if t := task(s); t != nil && !t.GetHeld() {
		return t.GetLaunchS()
	}
	return s.Launch.GetLaunchS()
}

// sign computes the digest that is read back: over every field of the card, so
// that two cards that differ anywhere differ here; but for the drop zone, and for
// what a later catalog means for it, which are said anew at each printing and kept
// nowhere: a card printed without them is still the card that was issued.
func (c *Card) sign() error {
	signed := *c
	signed.Digest, signed.Zones.Drop = "", nil
	canonical, err := json.Marshal(signed)
	if err != nil {
		return fmt.Errorf("card of %s: %w", c.Sortie, err)
	}
	sum := sha256.Sum256(canonical)
	hex := strings.ToUpper(hex.EncodeToString(sum[:4]))
	c.Digest = hex[:4] + " " + hex[4:]
	return nil
}

// void returns when a card ends: so long after its slot, or when the first of
// its units may no longer be used.
func void(s Sources, slot time.Time, validFor time.Duration) (time.Time, string) {
	until, because := slot, "at its slot: no longer validity was given"
	if validFor > 0 {
		until, because = slot.Add(validFor), fmt.Sprintf("%.0f min after its slot", validFor.Minutes())
	}
	for _, d := range s.Launch.GetDraws() {
		for _, l := range s.Cycle.GetLots() {
			if l.GetId() == d.GetLot() && l.GetExpireTime().AsTime().Before(until) {
				until, because = l.GetExpireTime().AsTime().UTC(), "when "+l.GetId()+" expires"
			}
		}
	}
	return until, because
}

func sortieOf(cycle *bowrollv1.Cycle, id string) *bowrollv1.Sortie {
	for _, s := range cycle.GetSorties() {
		if s.GetId() == id {
			return s
		}
	}
	return &bowrollv1.Sortie{}
}

func deckName(s Sources) string {
	if name := s.Deck.GetDisplayName(); name != "" {
		parts := strings.Split(s.Cycle.GetDeck(), "/")
		return parts[1] + ", " + strings.ToLower(name[:1]) + name[1:]
	}
	return s.Cycle.GetDeck()
}

func aircraftName(s Sources, sortie *bowrollv1.Sortie) string {
	if name := s.Aircraft.GetDisplayName(); name != "" {
		return name
	}
	if name := sortie.GetAircraft().GetDisplayName(); name != "" {
		return name
	}
	return last(sortie.GetAircraftType())
}

// last returns the last part of a resource name.
func last(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

func load(s Sources, sortie *bowrollv1.Sortie) Load {
	l := Load{GrossMassKG: sortie.GrossMassKg, LiftoffMassKG: liftoffMass(s.Takeoff), Flap: sortie.GetFlap(), Units: []Unit{}}
	for _, d := range s.Launch.GetDraws() {
		unit := Unit{Lot: d.GetLot()}
		if b := s.Boosters[d.GetLot()]; b != nil {
			unit.Type = b.GetDisplayName()
			if unit.Type == "" {
				unit.Type = last(b.GetName())
			}
		}
		for _, lot := range s.Cycle.GetLots() {
			if lot.GetId() == d.GetLot() {
				unit.GrainC = lot.GrainTemperatureC
			}
		}
		for _, station := range d.GetStations() {
			unit.Station = station
			l.Units = append(l.Units, unit)
		}
	}
	return l
}
