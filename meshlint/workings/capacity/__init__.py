"""What paths and the site as a whole deliver, and to whom."""
