"""What each radio occupies of the spectrum, and what the law and radar say of it."""
