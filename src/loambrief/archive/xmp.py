"""Metadata packets (XMP, ISO 16684-1), read with care: they come from files of others."""


SPACES = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "pdf": "http://ns.adobe.com/pdf/1.3/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "pdfaid": "http://www.aiim.org/pdfa/ns/id/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
}


def read_xmp(packet: bytes) -> dict[str, str]:
    """Properties of a metadata packet, by their usual prefixes; lists give their first item.

    Raises
    ------
    ValueError
        Not XML, or XML with a document type (none is needed, and entities can bite).
    """
    from xml.etree import ElementTree

    if len(packet) > 1_000_000:
        raise ValueError("too large")
    if b"<!DOCTYPE" in packet or b"<!ENTITY" in packet:
        raise ValueError("it declares entities")
    try:
        root = ElementTree.fromstring(packet)
    except ElementTree.ParseError as error:
        raise ValueError(str(error)) from None
    prefixes = {address: prefix for prefix, address in SPACES.items()}
    found = {}
    for node in root.iter(f"{{{SPACES['rdf']}}}Description"):
        for child in node:
            address, _, local = child.tag[1:].partition("}")
            if address in prefixes:
                items = [t.text or "" for t in child.iter(f"{{{SPACES['rdf']}}}li")]
                found[f"{prefixes[address]}:{local}"] = items[0] if items else child.text or ""
    return found
