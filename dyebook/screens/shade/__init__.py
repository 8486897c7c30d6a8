"""The shade page."""
