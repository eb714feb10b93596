"""What one link carries: its budget, rate, cable and the load put on it."""
