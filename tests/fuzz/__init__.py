"""Files that nobody would write, by the thousand: what they may end in is a result or a refusal in words."""
