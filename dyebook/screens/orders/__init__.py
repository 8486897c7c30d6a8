"""The orders page."""
