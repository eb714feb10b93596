"""One module for each command of the command line; each calls its click command `command`."""
