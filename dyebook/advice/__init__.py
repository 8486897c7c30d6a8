"""What to do: suggestions, redips, coupons, verdicts, causes, drift."""
