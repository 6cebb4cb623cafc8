"""What is decided over many parts: which trumpet for which piece, changes and their rests, and the load."""
