"""What a country allows on the air, and where radar is."""
