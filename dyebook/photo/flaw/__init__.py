"""Flaws of a part: candidates, features, probability, find."""
