"""Learning a bath from its dips."""
