// Package phase judges a fat-loss plan: which stage it is in, when it is to be
// reviewed, and what the review recommends. One rule a file; rules.go lists
// them in the order in which they are asked.
//
// Everything here is general information and not medical advice; local rules
// and licensed practice come first. Every recommendation says so.
package phase
