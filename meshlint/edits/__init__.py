"""Changes of site files: where values stand, how they are rewritten, and what a change proves."""
