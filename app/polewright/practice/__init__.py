"""Practice: a simulated mount, hands that move it, and whole nights of it. No Qt."""
