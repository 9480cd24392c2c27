"""Files that are no mesh and are dropped as one all the same, by what they begin with."""

import re

# Signatures as the formats' own specifications give them.
SIGNATURES = (
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (b"GIF8", "a GIF picture"),
    (b"II*\0", "a TIFF picture"),
    (b"MM\0*", "a TIFF picture"),
    (b"BM", "a bitmap picture"),
    (b"RIFF", "a picture, sound or film"),
    (b"%PDF-", "a PDF document"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ\0", "an xz archive"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"ASTM-E57", "a point cloud (E57)"),
    (b"LASF", "a point cloud (LAS)"),
    (b"# .PCD", "a point cloud (PCD)"),
    (b"ISO-10303-21", "a STEP model, which has no triangles"),
    (b"#VRML", "a VRML scene"),
    (b"SQLite format 3\0", "a database"),
)
MARKUP = re.compile(rb"\s*<(!doctype html|html|\?xml|svg)", re.IGNORECASE)


def other_kind(head: bytes) -> str | None:
    """What a file is that is no mesh, from its first bytes; None when that cannot be told."""
    for signature, kind in SIGNATURES:
        if head.startswith(signature):
            return kind
    if head[4:8] == b"ftyp":
        return "a film or a picture"
    if MARKUP.match(head):
        return "a page or a table in XML or HTML"
    if _is_rows_of_numbers(head):
        return "a point cloud: lines of numbers without faces"
    return None


def _is_rows_of_numbers(head: bytes) -> bool:
    """Whether a text begins with three lines of at least three numbers, as exported points do."""
    rows = head[:1000].replace(b",", b" ").replace(b";", b" ").split(b"\n")[:3]
    return len(rows) == 3 and all(len(row.split()) >= 3 and all(map(_is_number, row.split())) for row in rows)


def _is_number(word: bytes) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True
