"""What tonight's plan can bear: blur, field rotation, tolerance."""
