"""Bench physics: acid, film, trace, optics of a dyed film, uptake of dye."""
