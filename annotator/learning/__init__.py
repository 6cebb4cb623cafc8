"""What a hand prefers, learnt from parts whose fingerings a player or teacher has pencilled in."""
