"""What there is to choose, to make and to find, each in one row: marks, options, products, finding codes.

Library, commands, schemas, page, links, archive and legend read the rows; a test walks rows × surfaces.
Nothing here works on a score.
"""
