"""What happened at a table, in words: outcomes between two stills, understood or said."""
