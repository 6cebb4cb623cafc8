"""Media types as registered with IANA."""

MUSICXML = "application/vnd.recordare.musicxml+xml"
MXL = "application/vnd.recordare.musicxml"
ZIP = "application/zip"
PDF = "application/pdf"
SVG = "image/svg+xml"
JSON = "application/json"
EVENTS = "text/event-stream"
