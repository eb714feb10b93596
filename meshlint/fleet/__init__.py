"""Many sites: which files, which of them changed, how they are shared out, and what is kept."""
