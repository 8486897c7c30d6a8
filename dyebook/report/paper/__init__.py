"""Printed sheets, as PDF and as HTML."""
