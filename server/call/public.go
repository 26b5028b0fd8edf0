package call

import v1 "turnwright/api/turnwright/v1"

// sealed are the calls that tell, when they are made, what nobody but their caller may know
// while a round is open: that somebody looks at a scramble, and that they hand something in.
var sealed = map[string]bool{
	v1.RoundService_ShowScramble_FullMethodName:      true,
	v1.RoundService_SubmitEntry_FullMethodName:       true,
	v1.RoundService_GetEntry_FullMethodName:          true,
	v1.RoundService_ListEntries_FullMethodName:       true,
	v1.RoundService_ListScrambleViews_FullMethodName: true,
}

// Sealed is what all of these are called in logs and figures.
const Sealed = "/turnwright.v1.RoundService/Sealed"

// Public is what a call is called in logs and figures.
func Public(method string) string {
	if sealed[method] {
		return Sealed
	}
	return method
}
