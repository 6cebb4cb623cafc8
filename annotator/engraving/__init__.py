"""Pages and PDF."""
