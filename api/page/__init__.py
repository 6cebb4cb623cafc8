"""The page for people."""
