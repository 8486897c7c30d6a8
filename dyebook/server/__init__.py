"""What stands between a browser and the app: gate, pairing, doors, network. Knows no page."""
