"""Networks by name, how they are secured, and who can join them."""
