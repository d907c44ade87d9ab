package limit

import "context"

// Outcome is what was decided on a piece of work or a call.
type Outcome string

// Outcomes. All but the first are refusals.
const (
	Admitted    Outcome = "admitted"
	QueueFull   Outcome = "queue_full"
	Displaced   Outcome = "displaced" // made room for another tenant, or for a higher priority
	TooLate     Outcome = "too_late"  // its deadline would have passed before it was done
	KeyRate     Outcome = "key_rate"
	TraineeRate Outcome = "trainee_rate"
)

// Counter hears of each decision. It is called often and must not block.
type Counter func(context.Context, Outcome)
