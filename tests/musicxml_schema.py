"""The MusicXML 4.0 schema, for tests that ask whether a document is valid.

Source: MusicXML 4.0 Final Community Group Report of the W3C Music Notation Community Group, file
`musicxml.xsd`, as carried by the PyPI package `musicxml` (`generate_classes/musicxml_4_0.xsd`). The two
schemas it imports, `xml.xsd` (W3C) and `xlink.xsd` (W3C XLink 1.1), are the copies in the PyPI package
`xmlschema`. Nothing is fetched: the two addresses in the schema are rewritten to those files.
"""

from functools import cache
from importlib.resources import files
from pathlib import Path

from lxml import etree

_XS = "{http://www.w3.org/2001/XMLSchema}"
_LOCAL = {
    "http://www.w3.org/XML/1998/namespace": ("XML", "xml.xsd"),
    "http://www.w3.org/1999/xlink": ("XLINK", "xlink.xsd"),
}


@cache
def schema() -> etree.XMLSchema:
    """The compiled MusicXML 4.0 schema (partwise and timewise roots), loaded once per process."""
    source = Path(str(files("musicxml"))) / "generate_classes" / "musicxml_4_0.xsd"
    imports = Path(str(files("xmlschema"))) / "schemas"
    document = etree.parse(str(source), etree.XMLParser(no_network=True))
    for element in document.getroot().findall(f"{_XS}import"):
        folder, name = _LOCAL[str(element.get("namespace"))]
        element.set("schemaLocation", (imports / folder / name).as_uri())
    return etree.XMLSchema(document)


def schema_errors(data: bytes) -> list[str]:
    """What makes the MusicXML document `data` (uncompressed, any encoding its declaration names) invalid.

    One string per error, as libxml2 words it (source, line, column, what is wrong); none for a valid
    document. The DOCTYPE is not loaded.
    Raises `lxml.etree.XMLSyntaxError` when `data` is not well-formed XML.
    """
    parser = etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False, huge_tree=True)
    checker = schema()
    if checker.validate(etree.fromstring(data, parser)):
        return []
    return str(checker.error_log).splitlines()
