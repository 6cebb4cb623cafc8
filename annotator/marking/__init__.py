"""Marks on a score: what to show, as insertions into its text, and out again."""
