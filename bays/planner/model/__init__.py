"""The whole problem as one constraint model for CP-SAT: nothing is left out or rounded."""
