package access

import (
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	reflectionv1alpha "google.golang.org/grpc/reflection/grpc_reflection_v1alpha"

	v1 "turnwright/api/turnwright/v1"
)

// rule is a set of roles.
type rule uint

func of(roles ...Role) rule {
	var r rule
	for _, role := range roles {
		r |= 1 << role
	}
	return r
}

func (r rule) allows(role Role) bool { return r&(1<<role) != 0 }

// The rules that rows of the table have.
var (
	anybody    = of(Nobody, Member, Organiser, Worker, Local)
	callers    = of(Member, Organiser, Worker, Local) // whoever has a token
	members    = of(Member, Organiser, Local)
	owners     = members // of what is changed: the store refuses members what is another's
	organisers = of(Organiser, Local)
	workers    = of(Worker, Local) // for what workers call
)

// table says who may call which method. What is not in it nobody may call.
var table = map[string]rule{
	v1.PuzzleService_ListPuzzles_FullMethodName:  members,
	v1.PuzzleService_GetPuzzle_FullMethodName:    members,
	v1.PuzzleService_DefinePuzzle_FullMethodName: members,

	v1.EffectService_DescribeSequence_FullMethodName: members,
	v1.EffectService_ExplainSequence_FullMethodName:  members,

	v1.DrawService_DrawPuzzle_FullMethodName:    members,
	v1.DrawService_DrawSheet_FullMethodName:     members,
	v1.DrawService_GetModel_FullMethodName:      members,
	v1.DrawService_TraceSequence_FullMethodName: members,

	v1.CommutatorService_IsolatePieces_FullMethodName:   members,
	v1.CommutatorService_ListCommutators_FullMethodName: members,

	v1.SearchService_CreateSearch_FullMethodName:     members,
	v1.SearchService_GetSearch_FullMethodName:        members,
	v1.SearchService_ListSearches_FullMethodName:     members,
	v1.SearchService_CancelSearch_FullMethodName:     owners,
	v1.SearchService_PauseSearch_FullMethodName:      owners,
	v1.SearchService_ResumeSearch_FullMethodName:     owners,
	v1.SearchService_RescheduleSearch_FullMethodName: owners,
	v1.SearchService_DeleteSearch_FullMethodName:     owners,

	v1.FindingService_ListFindings_FullMethodName:   members,
	v1.FindingService_StreamFindings_FullMethodName: members,

	v1.CoverageService_GetCoverage_FullMethodName:      members,
	v1.CoverageService_ListCoverageRows_FullMethodName: members,
	v1.FitService_FitSequences_FullMethodName:          members,
	v1.InsertionService_InsertSequences_FullMethodName: members,
	v1.StudyService_StudySolution_FullMethodName:       members,
	v1.StudyService_ShowBaseline_FullMethodName:        members,
	v1.StudyService_CompareSolutions_FullMethodName:    members, // entries once the round has closed
	v1.InsertionService_JoinFindings_FullMethodName:    members,

	v1.WorkerService_LeaseUnit_FullMethodName:     workers,
	v1.WorkerService_SendHeartbeat_FullMethodName: workers,
	v1.WorkerService_ReportUnit_FullMethodName:    workers,
	v1.WorkerService_FailUnit_FullMethodName:      workers,
	v1.WorkerService_ReturnUnit_FullMethodName:    workers,
	v1.WorkerService_LocateTable_FullMethodName:   workers,
	v1.WorkerService_ReadTable_FullMethodName:     workers,
	v1.WorkerService_ListWorkers_FullMethodName:   members,
	v1.WorkerService_DrainWorker_FullMethodName:   organisers,

	v1.AdministrationService_Backup_FullMethodName: organisers,
	v1.AdministrationService_Check_FullMethodName:  organisers,

	v1.StatusService_GetStatus_FullMethodName: members,

	v1.MemberService_GetCaller_FullMethodName:        callers,
	v1.MemberService_CreateMember_FullMethodName:     organisers,
	v1.MemberService_GetMember_FullMethodName:        organisers,
	v1.MemberService_ListMembers_FullMethodName:      organisers,
	v1.MemberService_DeleteMember_FullMethodName:     organisers,
	v1.MemberService_CreateToken_FullMethodName:      organisers,
	v1.MemberService_ListTokens_FullMethodName:       callers, // others than organisers only their own
	v1.MemberService_RevokeToken_FullMethodName:      callers, // others than organisers only their own
	v1.MemberService_ListAuditEntries_FullMethodName: organisers,

	v1.RoundService_CreateRound_FullMethodName:       organisers,
	v1.RoundService_GetRound_FullMethodName:          members,
	v1.RoundService_ListRounds_FullMethodName:        members,
	v1.RoundService_UpdateRound_FullMethodName:       organisers,
	v1.RoundService_CloseRound_FullMethodName:        organisers,
	v1.RoundService_ShowScramble_FullMethodName:      members, // who take part
	v1.RoundService_SubmitEntry_FullMethodName:       members, // who take part
	v1.RoundService_GetEntry_FullMethodName:          members, // others' once the round has closed
	v1.RoundService_ListEntries_FullMethodName:       members, // the same
	v1.RoundService_CorrectEntry_FullMethodName:      organisers,
	v1.RoundService_GetStandings_FullMethodName:      members,
	v1.RoundService_ListRecords_FullMethodName:       members,
	v1.RoundService_VerifyRound_FullMethodName:       members,
	v1.RoundService_ListScrambleViews_FullMethodName: members, // others than organisers only their own

	healthv1.Health_Check_FullMethodName: anybody,
	healthv1.Health_List_FullMethodName:  anybody,
	healthv1.Health_Watch_FullMethodName: anybody,

	reflectionv1.ServerReflection_ServerReflectionInfo_FullMethodName:      members,
	reflectionv1alpha.ServerReflection_ServerReflectionInfo_FullMethodName: members,
}
