"""The zip package around a 3MF model: its limits, and its parts as streams."""

import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import BytesIO
from xml.parsers import expat

from verifier.errors import Malformed, NotAMesh, TooLarge, Truncated, VerifierError
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.three_mf_effort import Effort
from verifier.rulebook.rules import Reading

MODEL_RELATIONSHIP = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
RELATIONSHIPS = "_rels/.rels"
MAX_PARTS = 10_000
CHUNK_BYTES = 1 << 20
ENCRYPTED = 0x1
READABLE = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # the two that Open Packaging Conventions allow
# All that the standard library was seen to raise for archives cut, spliced and with bytes changed.
DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    NotImplementedError,
    OSError,
    OverflowError,
    ValueError,
)
UNSAFE_NAME = re.compile(r"^[/\\]|^[A-Za-z]:|\\|[\x00-\x1f]|(^|/)\.\.(/|$)")
LISTED_PART = b"PK\x01\x02"
END_OF_ZIP = b"PK\x05\x06"
END_OF_ZIP_BYTES = 22 + (1 << 16)  # its record, and the longest comment behind it


@dataclass(frozen=True, slots=True)
class Package:
    """An opened package whose list of parts has been checked.

    parts : by lower-case name, since package names do not tell case apart
    effort : what the XML of its parts has asked for so far
    """

    archive: zipfile.ZipFile
    parts: dict[str, zipfile.ZipInfo]
    where: str
    effort: Effort

    def chunks(self, name: str) -> Iterator[bytes]:
        """A part's bytes, a chunk at a time; raises Malformed when it is missing or does not unpack."""
        info = self.parts.get(name.lstrip("/").lower())
        if info is None:
            raise Malformed("it names a part that it does not hold", where=self.where, do=EXPORT_AGAIN)
        try:
            with self.archive.open(info) as part:
                while chunk := part.read(CHUNK_BYTES):
                    yield chunk
        except DAMAGE as error:
            raise Malformed("one of its parts does not unpack", where=self.where, do=EXPORT_AGAIN) from error


def open_package(data: bytes, where: str, limits: Reading) -> Package:
    """Open the zip and check its list of parts before anything is unpacked.

    Raises Truncated, Malformed, TooLarge, NotAMesh.
    """
    _refuse_parts(data.count(LISTED_PART), where)  # each costs the list's reader a kilobyte
    try:
        archive = zipfile.ZipFile(BytesIO(data))
        infos = archive.infolist()
    except DAMAGE as error:
        raise _unopened(data, where) from error
    _refuse_names(infos, where)
    _refuse_amounts(infos, len(data), limits, where)
    return Package(archive, {info.filename.lower(): info for info in infos}, where, Effort(len(data), where))


def _refuse_parts(count: int, where: str) -> None:
    if count > MAX_PARTS:
        raise TooLarge(f"it has {count:,} parts", where=where, do=EXPORT_AGAIN)


def _unopened(data: bytes, where: str) -> VerifierError:
    if END_OF_ZIP in data[-END_OF_ZIP_BYTES:]:
        return Malformed("its zip archive is damaged", where=where, do=EXPORT_AGAIN)
    return Truncated("its zip archive ends before its list of parts", where=where, do=EXPORT_AGAIN)


def _refuse_names(infos: list[zipfile.ZipInfo], where: str) -> None:
    names = [info.filename.lower() for info in infos]
    if any(UNSAFE_NAME.search(info.orig_filename) for info in infos):
        raise Malformed("a part of it names a place outside the package", where=where, do=EXPORT_AGAIN)
    if len(set(names)) < len(names):
        raise Malformed("two parts of it have one name", where=where, do=EXPORT_AGAIN)
    if any(info.flag_bits & ENCRYPTED for info in infos):
        raise Malformed("it is encrypted", where=where, do="Export it without a password")
    if any(info.compress_type not in READABLE for info in infos):
        raise Malformed("it is packed in a way that 3MF does not allow", where=where, do=EXPORT_AGAIN)


def _refuse_amounts(infos: list[zipfile.ZipInfo], packed: int, limits: Reading, where: str) -> None:
    """Sizes as the list states them; unpacking stops at the size stated, so that a false one gains nothing."""
    unpacked = sum(info.file_size for info in infos)
    do = "Export it with fewer triangles, or raise the limits for unpacking in the acceptance rules"
    if unpacked > limits.max_unpacked_bytes:
        what = f"it unpacks to {unpacked:,} bytes and the limit is {limits.max_unpacked_bytes:,}"
        raise TooLarge(what, where=where, do=do)
    if unpacked > packed * limits.max_unpack_ratio:
        what = f"it unpacks to {unpacked / packed:.0f} times its size and the limit is {limits.max_unpack_ratio:g}"
        raise TooLarge(what, where=where, do=do)


def parse_part(
    package: Package, name: str, parser: expat.XMLParserType, feed: Callable[[bytes, bool], object] | None = None
) -> None:
    """Feed a part to an XML parser; raises Malformed for a document type, and so for every entity of one's own.

    feed : what hands the bytes on to the parser, where it does not take them itself
    """

    def refuse_doctype(*_: object) -> None:
        raise Malformed("its XML has a document type, which 3MF forbids", where=package.where, do=EXPORT_AGAIN)

    parser.StartDoctypeDeclHandler = refuse_doctype
    feed = feed or parser.Parse
    try:
        for chunk in package.chunks(name):
            if len(chunk) == CHUNK_BYTES and b">" not in chunk:
                what = f"its XML has an element of more than {CHUNK_BYTES:,} bytes"
                raise Malformed(what, where=package.where, do=EXPORT_AGAIN)
            feed(chunk, False)
        feed(b"", True)
    except expat.ExpatError as error:
        raise Malformed("its XML is not well formed", where=package.where, do=EXPORT_AGAIN) from error


def root_model(package: Package) -> str:
    """Name of the part that the package says to begin with.

    Raises NotAMesh when it is a zip of another kind.
    """
    targets: list[str] = []

    def start(_: str, attributes: dict[str, str]) -> None:
        if attributes.get("Type") == MODEL_RELATIONSHIP and "Target" in attributes:
            targets.append(attributes["Target"])

    if RELATIONSHIPS not in package.parts or package.parts[RELATIONSHIPS].file_size > CHUNK_BYTES:
        raise _other_zip(package.where)
    parser = expat.ParserCreate()
    parser.StartElementHandler = start
    parse_part(package, RELATIONSHIPS, parser)
    if len(targets) != 1:
        raise _other_zip(package.where)
    return targets[0]


def _other_zip(where: str) -> NotAMesh:
    return NotAMesh("it is a zip archive without one 3D model", where=where, do="Unpack it and drop the mesh inside")
