"""Rule cards, the language that they are written in, and the engine that judges by them."""
