"""The site as its author wrote it: from bytes to a frozen model, every value with its place."""
