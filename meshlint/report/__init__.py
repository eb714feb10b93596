"""What a check found, as text for people and for programs."""
