// Package gather asks a service for what paper says beyond a plan's own answer:
// each launch with everything that its card has, and the plan under the
// conditions that a planner asks about; and it reads a plan and the rows of a
// sweep to their end. Nothing is drawn here and nothing computed.
package gather
