"""Bodies of practices, and of what watches a table; the room above hands them on."""
