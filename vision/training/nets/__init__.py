"""The networks' recipe: sets cut from rendered stills, training, export."""
