package access

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Scope is where a role must be held.
type Scope int

// The scopes.
const (
	// Anywhere asks for the role at any one site: what the call reads is common
	// to the fleet or comes with the request.
	Anywhere Scope = iota
	// AtSite asks for the role at the site that the request's name or parent
	// names.
	AtSite
	// Fleet asks for the role at every site.
	Fleet
)

// Need is what a method asks of its caller.
type Need struct {
	Role  Role
	Scope Scope
	// Open is for methods that need no identity.
	Open bool
}

// Methods of gRPC's own services, and what the admin address serves.
const (
	// Metrics and Profiles are no methods: they name what the admin address
	// serves, for [Guard.PermitHTTP].
	Metrics  = "metrics"
	Profiles = "profiles"
)

// Table says what each method needs, by full method name. A method that it
// lacks is not served.
func Table() map[string]Need {
	table := map[string]Need{
		"/grpc.health.v1.Health/Check":                                   {Open: true},
		"/grpc.health.v1.Health/Watch":                                   {Open: true},
		"/grpc.health.v1.Health/List":                                    {Open: true},
		"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      {Role: Reader},
		"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": {Role: Reader},
		Metrics:  {Role: Reader},
		Profiles: {Role: Custodian, Scope: Fleet},
	}
	for service, methods := range services() {
		for method, need := range methods {
			table["/bowroll.v1."+service+"/"+method] = need
		}
	}
	return table
}

// services is the part of the table for the contract's own services.
func services() map[string]map[string]Need {
	var (
		read    = Need{Role: Reader}
		plan    = Need{Role: Planner}
		readAt  = Need{Role: Reader, Scope: AtSite}
		planAt  = Need{Role: Planner, Scope: AtSite}
		stockAt = Need{Role: Armament, Scope: AtSite}
		keepAt  = Need{Role: Custodian, Scope: AtSite}
		keep    = Need{Role: Custodian, Scope: Fleet}
	)
	return map[string]map[string]Need{
		"Takeoffs": {
			"Compute": read, "BatchCompute": read, "Tabulate": read, "StreamCompute": read,
			"FindFiring": read, "CheckBox": read, "Trace": read,
		},
		"WindLimits": {
			"Compute": read, "Tabulate": read, "FindCourse": read, "ReadWind": read,
		},
		"Cycles": {
			"Plan": plan, "PlanStream": plan, "Tabulate": plan, "PlanFleet": plan, "Compare": plan,
		},
		// The catalog is one for the fleet: ships plan from the same numbers.
		"Catalog": {
			"GetAircraftType": read, "ListAircraftTypes": read, "GetBoosterType": read, "ListBoosterTypes": read,
			"GetSite": read, "ListSites": read, "GetDeck": read, "ListDecks": read,
			"ExportCatalog": read, "DiffCatalog": read, "ListCatalogRevisions": read,
			"CreateAircraftType": keep, "UpdateAircraftType": keep, "DeleteAircraftType": keep,
			"CreateBoosterType": keep, "UpdateBoosterType": keep, "DeleteBoosterType": keep,
			"CreateSite": keep, "UpdateSite": keep, "DeleteSite": keep,
			"CreateDeck": keep, "UpdateDeck": keep, "DeleteDeck": keep, "ImportCatalog": keep,
		},
		"Model": {
			"GetModel": read, "Check": read, "CheckVectors": read,
		},
		"Observations": {
			"GetObservedRun": readAt, "ListObservedRuns": readAt, "TabulateResiduals": readAt, "FitCorrection": readAt, "DebriefPlan": readAt,
			"RecordRun": planAt, "ProposeCorrection": planAt,
			// Corrections belong to the catalog, which is one for the fleet.
			"GetCorrection": read, "ListCorrections": read,
			"AcceptCorrection": keep, "RejectCorrection": keep, "RevertCorrection": keep,
		},
		"Plans": {
			"GetPlan": readAt, "ListPlans": readAt,
			"CreatePlan": planAt, "ConfirmPlan": planAt, "CancelPlan": planAt, "RecordWaiver": planAt, "RevokeWaiver": planAt,
			"IssueCard": planAt, "RecheckPlan": planAt,
			"RecordLaunch": planAt, "ScrubSortie": planAt, "ExpirePlans": planAt, "RecomputePlan": readAt,
		},
		// A sweep takes processors and room of the site that keeps it.
		"Sweeps": {
			"GetSweep": readAt, "ListSweeps": readAt, "ReadSweep": readAt,
			"EstimateSweep": planAt, "CreateSweep": planAt, "CancelSweep": planAt, "DeleteSweep": planAt,
		},
		"Stock": {
			"GetLot": readAt, "ListLots": readAt, "ListReadings": readAt, "GetExposure": readAt, "GetUnit": readAt,
			"ListUnits": readAt, "PickUnits": readAt, "SummarizeStock": readAt, "ListMovements": readAt,
			"VerifyLog": readAt, "ExportUnits": readAt,
			"CreateLot": stockAt, "UpdateLot": stockAt, "ReceiveUnits": stockAt, "SuspendLot": stockAt,
			"LiftSuspension": stockAt, "CountLot": stockAt, "RecordReadings": stockAt, "MoveUnits": stockAt,
			"ImportMovements": stockAt,
			// It writes what another copy of the log says that others did.
			"MergeMovements": keepAt,
		},
	}
}

// Covers returns an error that names every method of s that the table lacks: a
// new method must say who may call it before it can be served.
func Covers(s *grpc.Server) error {
	table := Table()
	var missing []string
	for service, info := range s.GetServiceInfo() {
		for _, m := range info.Methods {
			if full := "/" + service + "/" + m.Name; table[full] == (Need{}) {
				missing = append(missing, full)
			}
		}
	}
	if len(missing) == 0 {
		return nil
	}
	slices.Sort(missing)
	return fmt.Errorf("the access table does not say who may call %s", strings.Join(missing, ", "))
}

// siteOf is the site that a request's name or parent names, or "".
func siteOf(m proto.Message) string {
	r := m.ProtoReflect()
	for _, field := range []protoreflect.Name{"name", "parent"} {
		fd := r.Descriptor().Fields().ByName(field)
		if fd == nil || fd.Kind() != protoreflect.StringKind || fd.IsList() {
			continue
		}
		rest, found := strings.CutPrefix(r.Get(fd).String(), "sites/")
		if !found {
			return ""
		}
		site, _, _ := strings.Cut(rest, "/")
		if !siteID.MatchString(site) {
			return ""
		}
		return site
	}
	return ""
}
