"""Where clients are served: areas, gaps, overlap, and what readings say of it."""
