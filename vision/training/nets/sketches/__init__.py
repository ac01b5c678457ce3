"""Steps of a sketch: balls' paint, a scene, its light, and what a camera makes of it."""
