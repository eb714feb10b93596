"""What was accepted, what a fleet agrees on, and what needs care."""
