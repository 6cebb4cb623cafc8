"""Media types as registered with IANA, for the service."""

from annotator.registry.media_types import EVENTS, JSON, MUSICXML, MXL, PDF, SVG, ZIP

__all__ = ["EVENTS", "JSON", "MUSICXML", "MXL", "PDF", "SVG", "ZIP"]
