"""A first site file: what people answer in the trade's words, and the file that says just that."""
