"""Cameras: the colour chart, the fit, the profile, where profiles are kept."""
