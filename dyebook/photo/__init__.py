"""From a photo to readings: read, card, light, camera, part, reading, flaw."""
