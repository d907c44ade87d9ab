package phase

// Codes of findings that decide, safety first.
const (
	CodeClosed             Code = "PLAN_CLOSED"
	CodeUnderage           Code = "UNDER_18"
	CodeCondition          Code = "DECLARED_CONDITION"
	CodeUnderweight        Code = "UNDERWEIGHT"
	CodeGoalUnderweight    Code = "GOAL_UNDERWEIGHT"
	CodeWarningSign        Code = "WARNING_SIGN"
	CodeUnexplainedLoss    Code = "UNEXPLAINED_LOSS"
	CodeReferralRecorded   Code = "REFERRAL_RECORDED"
	CodeProfileIncomplete  Code = "PROFILE_INCOMPLETE"
	CodePlanNotValid       Code = "PLAN_NOT_VALID"
	CodeNotStarted         Code = "PLAN_NOT_STARTED"
	CodeTargetUnderFloor   Code = "TARGET_UNDER_FLOOR"
	CodeNoReviewDue        Code = "NO_REVIEW_DUE"
	CodeNotEnoughReadings  Code = "NOT_ENOUGH_READINGS"
	CodeNotEnoughLogged    Code = "NOT_ENOUGH_LOGGED_DAYS"
	CodeNoEstimate         Code = "NO_ESTIMATE"
	CodeCutStarts          Code = "CUT_STARTS"
	CodeGoalReached        Code = "GOAL_REACHED"
	CodeTargetNotMet       Code = "TARGET_NOT_MET"
	CodeTooFast            Code = "TOO_FAST"
	CodeTooSlow            Code = "TOO_SLOW"
	CodeNoLine             Code = "NO_LINE"
	CodeOnTrack            Code = "ON_TRACK"
	CodeNotClearlyOffTrack Code = "NOT_CLEARLY_OFF_TRACK"
	CodeAtFloor            Code = "AT_FLOOR"
)

// Codes of findings that only explain.
const (
	CodeReadingRefused   Code = "READING_REFUSED"
	CodeReadingDoubtful  Code = "READING_DOUBTFUL"
	CodeWaterDays        Code = "WATER_DAYS"
	CodeRefeedWater      Code = "REFEED_WATER"
	CodeLogGap           Code = "LOG_GAP"
	CodeEatingUnderFloor Code = "EATING_UNDER_FLOOR"
	CodePaceCapped       Code = "PACE_CAPPED"
)

// Codes of cautions.
const (
	CodeNotMedicalAdvice Code = "NOT_MEDICAL_ADVICE"
	CodeTrackedIntake    Code = "TRACKED_INTAKE"
	CodeAgeUnknown       Code = "AGE_UNKNOWN"
	CodeGallstones       Code = "GALLSTONES"
)
