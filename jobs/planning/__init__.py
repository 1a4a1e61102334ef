"""Turns visits into planner problems. Reads only; ``jobs.services.plans`` stores the answers."""
