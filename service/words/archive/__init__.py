"""What is said of an archive that was read again: plain JSON objects to sentences."""
