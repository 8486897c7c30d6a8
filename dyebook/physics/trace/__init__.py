"""A run's log: reading it, its shape, and what happened in it."""
