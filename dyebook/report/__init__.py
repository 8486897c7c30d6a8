"""Results as words, HTML and plots; the only place that formats numbers for people."""
