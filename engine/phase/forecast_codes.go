package phase

// Codes of goals and forecasts.
const (
	CodeDeficitOver       Code = "DEFICIT_OVER"
	CodeNoGoal            Code = "NO_GOAL"
	CodeBodyNotCovered    Code = "BODY_NOT_COVERED"
	CodeFloorAhead        Code = "FLOOR_AHEAD"
	CodeFatNotMeasured    Code = "BODY_FAT_NOT_MEASURED"
	CodeRangeNotDate      Code = "RANGE_NOT_DATE"
	CodeAsLogged          Code = "AS_LOGGED"
	CodeSlopeFades        Code = "SLOPE_FADES"
	CodeLeanShareUnsure   Code = "LEAN_SHARE_UNCERTAIN"
	CodeLatestNotForeseen Code = "LATEST_NOT_FORESEEN"
)
