"""Published formulae and tables as pure functions."""
