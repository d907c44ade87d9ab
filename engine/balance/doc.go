// Package balance estimates a trainee's energy balance from morning weights and
// logged intake: how fast tissue is really being lost at the present
// prescription, and what intake would hold the weight, each with its
// uncertainty. It is a five-state Kalman filter over civil days.
//
// It works in tracked kcal: a trainee's constant under-reporting is absorbed
// into maintenance, so that the answer is in the numbers the trainee logs.
//
// The states are T, tissue and constant weight (kg); M, maintenance (tracked
// kcal/d at the reference diet, with no prescribed activity); A, an
// autoregressive water term (kg); k, water in kg per 1000 kcal/d of intake
// change; c, the amplitude of the menstrual cycle (kg), fixed unless periods
// are marked.
//
// Run filters: what is known each morning, for decisions. Smooth adds the line of
// past days with hindsight, for a chart. Forecast carries the filter on for up to
// four weeks. Mornings tells how each day's estimate stood when it was made.
//
// The constants were fitted on a virtual cohort (simulated trainees) except
// where their comment says otherwise. The forecast error was checked on weight
// series of real people; what happens in a cut, after refeeds, with prescribed
// walking and over a menstrual cycle was not, and rests on simulation alone.
//
// Every estimate is general information, not medical advice.
package balance
