"""Other formats, brought to MusicXML."""
