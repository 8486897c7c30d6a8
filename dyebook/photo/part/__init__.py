"""Parts: candidates, features, probability, find, and the outline to a fraction of a pixel."""
