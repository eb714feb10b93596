"""What people seldom know of a site, taken from usual ranges, and what holds whatever it is."""
