"""Where the sky is: time, apparent places, refraction, the star catalogue."""
