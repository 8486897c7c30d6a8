"""The bench page: the steps of the work and the care of the tanks."""
