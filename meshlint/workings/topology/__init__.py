"""How the units hang together: the tree of ways to the primary, and what each link joins."""
