"""The plain grey card: candidates, features, probability, find."""
