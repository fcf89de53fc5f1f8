package server

import (
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/intercept"
)

// Sizes of messages. A request larger than its class permits is refused with
// the way round it; these are the outer bounds of the transport.
const (
	// MaxRequestBytes is the most that a request in binary form may hold.
	MaxRequestBytes = 4 << 20
	// MaxAnswerBytes is the most that an answer in binary form may hold. A
	// caller that asks for a full batch must raise its own receive limit, which
	// gRPC sets to 4 MiB.
	MaxAnswerBytes = 64 << 20
	// MaxBodyBytes is the most that a JSON body may hold, and MaxBulkBodyBytes
	// that of a batch. Each line of a stream may hold MaxBodyBytes, all of them
	// MaxStreamBodyBytes.
	MaxBodyBytes       = 1 << 20
	MaxBulkBodyBytes   = 16 << 20
	MaxStreamBodyBytes = 1 << 30

	ordinaryBytes = 1 << 20
)

// classes states for every method what a call may take. A new method must be
// entered here before it can be served. Cores is how many may compute at once.
func classes(cores int) intercept.Classes {
	var (
		read    = &intercept.Class{Name: "read", Deadline: 2 * time.Second, InFlight: 64, MaxBytes: ordinaryBytes, Retry: 100 * time.Millisecond}
		write   = &intercept.Class{Name: "write", Deadline: 5 * time.Second, InFlight: 64, MaxBytes: MaxRequestBytes, Retry: 100 * time.Millisecond}
		compute = &intercept.Class{Name: "compute", Deadline: 30 * time.Second, InFlight: 64, MaxBytes: ordinaryBytes, Retry: 100 * time.Millisecond}
		solve   = &intercept.Class{Name: "solve", Deadline: 30 * time.Second, InFlight: 2 * cores, MaxBytes: ordinaryBytes, Retry: time.Second}
		bulk    = &intercept.Class{Name: "bulk", Deadline: 30 * time.Second, InFlight: max(2, cores), MaxBytes: MaxRequestBytes, Retry: time.Second}
		table   = &intercept.Class{Name: "table", Deadline: 5 * time.Minute, InFlight: max(2, cores), MaxBytes: ordinaryBytes, Retry: 2 * time.Second}
		// Planning a cycle is bulk work with a class of its own, so that batches do
		// not keep plans waiting.
		queue     = &intercept.Class{Name: "queue", Deadline: 30 * time.Second, InFlight: 2 * cores, MaxBytes: MaxRequestBytes, Retry: time.Second}
		longQueue = &intercept.Class{Name: "long queue", Deadline: 10 * time.Minute, InFlight: max(2, cores), MaxBytes: MaxRequestBytes, Retry: 2 * time.Second}
		probe     = &intercept.Class{Name: "probe", Deadline: 10 * time.Second, InFlight: max(2, cores), MaxBytes: ordinaryBytes, Retry: time.Second}
		// A file of many rows takes its time; few are read at once.
		file   = &intercept.Class{Name: "file", Deadline: 2 * time.Hour, InFlight: 8, MaxBytes: ordinaryBytes, Retry: 5 * time.Second}
		stream = &intercept.Class{Name: "stream", Deadline: 10 * time.Minute, InFlight: 32, MaxBytes: ordinaryBytes, Retry: time.Second}
	)
	return intercept.Classes{
		bowrollv1.Takeoffs_Compute_FullMethodName:               compute,
		bowrollv1.Takeoffs_BatchCompute_FullMethodName:          bulk,
		bowrollv1.Takeoffs_Tabulate_FullMethodName:              bulk,
		bowrollv1.Takeoffs_StreamCompute_FullMethodName:         stream,
		bowrollv1.Takeoffs_Trace_FullMethodName:                 compute,
		bowrollv1.Takeoffs_FindFiring_FullMethodName:            solve,
		bowrollv1.Takeoffs_CheckBox_FullMethodName:              read,
		bowrollv1.WindLimits_Compute_FullMethodName:             solve,
		bowrollv1.WindLimits_Tabulate_FullMethodName:            table,
		bowrollv1.WindLimits_FindCourse_FullMethodName:          solve,
		bowrollv1.WindLimits_ReadWind_FullMethodName:            read,
		bowrollv1.Cycles_Plan_FullMethodName:                    queue,
		bowrollv1.Cycles_PlanStream_FullMethodName:              longQueue,
		bowrollv1.Cycles_Tabulate_FullMethodName:                queue,
		bowrollv1.Cycles_PlanFleet_FullMethodName:               queue,
		bowrollv1.Cycles_Compare_FullMethodName:                 queue,
		bowrollv1.Catalog_GetAircraftType_FullMethodName:        read,
		bowrollv1.Catalog_ListAircraftTypes_FullMethodName:      read,
		bowrollv1.Catalog_GetBoosterType_FullMethodName:         read,
		bowrollv1.Catalog_ListBoosterTypes_FullMethodName:       read,
		bowrollv1.Catalog_GetSite_FullMethodName:                read,
		bowrollv1.Catalog_ListSites_FullMethodName:              read,
		bowrollv1.Catalog_GetDeck_FullMethodName:                read,
		bowrollv1.Catalog_ListDecks_FullMethodName:              read,
		bowrollv1.Catalog_CreateAircraftType_FullMethodName:     write,
		bowrollv1.Catalog_UpdateAircraftType_FullMethodName:     write,
		bowrollv1.Catalog_DeleteAircraftType_FullMethodName:     write,
		bowrollv1.Catalog_CreateBoosterType_FullMethodName:      write,
		bowrollv1.Catalog_UpdateBoosterType_FullMethodName:      write,
		bowrollv1.Catalog_DeleteBoosterType_FullMethodName:      write,
		bowrollv1.Catalog_CreateSite_FullMethodName:             write,
		bowrollv1.Catalog_UpdateSite_FullMethodName:             write,
		bowrollv1.Catalog_DeleteSite_FullMethodName:             write,
		bowrollv1.Catalog_CreateDeck_FullMethodName:             write,
		bowrollv1.Catalog_UpdateDeck_FullMethodName:             write,
		bowrollv1.Catalog_DeleteDeck_FullMethodName:             write,
		bowrollv1.Catalog_ImportCatalog_FullMethodName:          write,
		bowrollv1.Catalog_ExportCatalog_FullMethodName:          read,
		bowrollv1.Catalog_DiffCatalog_FullMethodName:            read,
		bowrollv1.Catalog_ListCatalogRevisions_FullMethodName:   read,
		bowrollv1.Stock_CreateLot_FullMethodName:                write,
		bowrollv1.Stock_GetLot_FullMethodName:                   read,
		bowrollv1.Stock_ListLots_FullMethodName:                 read,
		bowrollv1.Stock_UpdateLot_FullMethodName:                write,
		bowrollv1.Stock_ReceiveUnits_FullMethodName:             write,
		bowrollv1.Stock_SuspendLot_FullMethodName:               write,
		bowrollv1.Stock_LiftSuspension_FullMethodName:           write,
		bowrollv1.Stock_CountLot_FullMethodName:                 write,
		bowrollv1.Stock_RecordReadings_FullMethodName:           write,
		bowrollv1.Stock_ListReadings_FullMethodName:             read,
		bowrollv1.Stock_GetExposure_FullMethodName:              read,
		bowrollv1.Stock_GetUnit_FullMethodName:                  read,
		bowrollv1.Stock_ListUnits_FullMethodName:                read,
		bowrollv1.Stock_MoveUnits_FullMethodName:                write,
		bowrollv1.Stock_PickUnits_FullMethodName:                read,
		bowrollv1.Stock_SummarizeStock_FullMethodName:           read,
		bowrollv1.Stock_ListMovements_FullMethodName:            read,
		bowrollv1.Stock_VerifyLog_FullMethodName:                solve,
		bowrollv1.Stock_MergeMovements_FullMethodName:           write,
		bowrollv1.Stock_ImportMovements_FullMethodName:          write,
		bowrollv1.Stock_ExportUnits_FullMethodName:              read,
		bowrollv1.Plans_CreatePlan_FullMethodName:               write,
		bowrollv1.Plans_GetPlan_FullMethodName:                  read,
		bowrollv1.Plans_ListPlans_FullMethodName:                read,
		bowrollv1.Plans_ConfirmPlan_FullMethodName:              write,
		bowrollv1.Plans_CancelPlan_FullMethodName:               write,
		bowrollv1.Plans_RecordWaiver_FullMethodName:             write,
		bowrollv1.Plans_RevokeWaiver_FullMethodName:             write,
		bowrollv1.Plans_IssueCard_FullMethodName:                write,
		bowrollv1.Plans_RecheckPlan_FullMethodName:              write,
		bowrollv1.Plans_RecordLaunch_FullMethodName:             write,
		bowrollv1.Plans_ScrubSortie_FullMethodName:              write,
		bowrollv1.Plans_ExpirePlans_FullMethodName:              write,
		bowrollv1.Plans_RecomputePlan_FullMethodName:            queue,
		bowrollv1.Observations_RecordRun_FullMethodName:         write,
		bowrollv1.Observations_GetObservedRun_FullMethodName:    read,
		bowrollv1.Observations_ListObservedRuns_FullMethodName:  read,
		bowrollv1.Observations_TabulateResiduals_FullMethodName: bulk,
		bowrollv1.Observations_FitCorrection_FullMethodName:     bulk,
		bowrollv1.Observations_DebriefPlan_FullMethodName:       solve,
		bowrollv1.Observations_ProposeCorrection_FullMethodName: bulk,
		bowrollv1.Observations_GetCorrection_FullMethodName:     read,
		bowrollv1.Observations_ListCorrections_FullMethodName:   read,
		bowrollv1.Observations_AcceptCorrection_FullMethodName:  write,
		bowrollv1.Observations_RejectCorrection_FullMethodName:  write,
		bowrollv1.Observations_RevertCorrection_FullMethodName:  write,
		bowrollv1.Sweeps_EstimateSweep_FullMethodName:           probe,
		bowrollv1.Sweeps_CreateSweep_FullMethodName:             write,
		bowrollv1.Sweeps_GetSweep_FullMethodName:                read,
		bowrollv1.Sweeps_ListSweeps_FullMethodName:              read,
		bowrollv1.Sweeps_CancelSweep_FullMethodName:             write,
		bowrollv1.Sweeps_DeleteSweep_FullMethodName:             write,
		bowrollv1.Sweeps_ReadSweep_FullMethodName:               file,
		bowrollv1.Model_GetModel_FullMethodName:                 read,
		bowrollv1.Model_Check_FullMethodName:                    solve,
		bowrollv1.Model_CheckVectors_FullMethodName:             solve,
	}
}
