"""From the bytes of a file to linear pixels: format, metadata, colour profile, camera RAW."""
