"""Bodies of pairing; the room above hands them on."""
