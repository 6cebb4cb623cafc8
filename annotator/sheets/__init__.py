"""What is made from a part: cue line, transposed part, chart, engraved pages."""
