"""The bytes of a finished PDF, judged as they are: no program has read and saved them again."""

import io
import re

import pikepdf

STREAM = re.compile(
    rb"(?<!\d)(\d+) 0 obj\b(?:(?!endobj|\bobj\b).)*?>>\s*stream(\r\n|\n)", re.DOTALL)


def stream_faults(data):
    """What is wrong with the streams of a file, after ISO 19005-3, 6.1.7.1, and for readers
    that stop at a filter without data."""
    faults, count, at = [], 0, 0
    with pikepdf.open(io.BytesIO(data)) as pdf:
        while found := STREAM.search(data, at):
            number, start = int(found[1]), found.end()
            stated = re.search(rb"/Length\s+(\d+)(?:\s+0\s+R)?", found[0])
            length = int(stated[1])
            if stated[0].endswith(b"R"):
                length = int(pdf.get_object((length, 0)))
            count += 1
            if not re.match(rb"\r?\nendstream\b", data[start + length:start + length + 12]):
                faults.append(f"{number}: no end of line before endstream")
            if b"/Filter" in found[0] and not length:
                faults.append(f"{number}: a filter and no data")
            if b"/Filter" not in found[0] and length > 200 and b"/Metadata" not in found[0]:
                faults.append(f"{number}: {length} bytes not compressed")
            at = start + length
    assert count == data.count(b"endstream") > 0, "every stream was looked at"
    return faults
