"""Practice made from a part's own worst crossings."""
