"""What a site would be after a change that nobody has made yet, or after a failure."""
