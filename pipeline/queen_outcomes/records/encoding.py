"""What bytes a text file is made of, and the same text as UTF-8 lines.

Tells the encoding from the bytes alone (never from the machine's locale), refuses
what is not text, and streams whole lines in blocks. Knows nothing of cells.
"""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from queen_outcomes.base.errors import RecordsError

BLOCK_BYTES = 48 * 2**20
"""How much text is held at a time; half a million lines of a usual table."""
_SCAN_BYTES = 2**20
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\v\f\r\x1a")) + b"\x7f"
_MOST_CONTROLS = 0.01
OLE_MAGIC = bytes.fromhex("d0cf11e0a1b11ae1")
_DISGUISED = (
    (b"PK\x03\x04", "a zip file, as .xlsx workbooks are", "rename it to .xlsx"),
    (OLE_MAGIC, "an old or password-protected workbook", "save it as .xlsx"),
    (b"PAR1", "a Parquet file", "rename it to .parquet"),
)


@dataclass(frozen=True)
class TextForm:
    """How a text file is written.

    Parameters
    ----------
    encoding : str
        Python's name of the encoding.
    skip : int
        Bytes of the byte-order mark.
    lone_cr : bool
        Lines end with a carriage return alone, as old programs wrote them.
    """

    encoding: str
    skip: int
    lone_cr: bool


def _latin(problem: UnicodeError) -> tuple[str, int]:
    """Keep the five bytes that Windows-1252 leaves undefined, instead of losing them."""
    if not isinstance(problem, UnicodeDecodeError):
        raise problem
    return problem.object[problem.start : problem.end].decode("latin-1"), problem.end


codecs.register_error("queen_outcomes_latin", _latin)


def look(path: Path, name: str) -> TextForm:
    """Tell how a text file is written.

    Raises
    ------
    RecordsError
        It is empty, a file of another kind under a wrong ending, or not text.
    """
    with path.open("rb") as file:
        head = file.read(4096)
    if not head:
        raise RecordsError(
            "the file is empty",
            where=name,
            expected="at least a line of column names",
            hint="export it again, or move it out of the records",
        )
    for magic, what, hint in _DISGUISED:
        if head.startswith(magic):
            raise RecordsError(
                "the file is not a text table", where=name, found=what, hint=hint
            )
    for bom, encoding in _BOMS:
        if head.startswith(bom):
            return _scan(path, name, encoding, len(bom))
    wide = _wide_without_bom(head)
    return _scan(path, name, wide or "utf-8", 0)


def _wide_without_bom(head: bytes) -> str | None:
    half = max(len(head) // 2, 1)
    even, odd = head[0::2].count(0) / half, head[1::2].count(0) / half
    if odd > 0.3 and even < 0.05:
        return "utf-16-le"
    return "utf-16-be" if even > 0.3 and odd < 0.05 else None


def _scan(path: Path, name: str, encoding: str, skip: int) -> TextForm:
    """Read the whole file once: does it decode, does it hold controls, which line ends."""
    controls = size = 0
    feeds = returns = False
    decodes = True
    decoder = codecs.getincrementaldecoder(encoding)("strict")
    for chunk, last in _chunks(path, skip):
        try:
            text = decoder.decode(chunk, last) if decodes else ""
        except UnicodeDecodeError:
            decodes = False
        plain = chunk
        if encoding != "utf-8":
            plain = text.encode("utf-8", "replace") if decodes else b"\0"
        controls += len(plain) - len(plain.translate(None, _CONTROLS))
        size += len(plain)
        feeds, returns = feeds or b"\n" in plain, returns or b"\r" in plain
        if b"\0" in plain:
            _refuse(name)
    if controls > _MOST_CONTROLS * size:
        _refuse(name)
    return TextForm(
        encoding if decodes else "cp1252", skip, lone_cr=returns and not feeds
    )


def _refuse(name: str) -> None:
    raise RecordsError(
        "the file is not a text table",
        where=name,
        found="bytes that no text holds",
        expected="comma, semicolon or tab separated text",
        hint="export it again as CSV, or move it out of the records",
    )


def _chunks(
    path: Path, skip: int, size: int = _SCAN_BYTES
) -> Iterator[tuple[bytes, bool]]:
    with path.open("rb") as file:
        file.seek(skip)
        chunk = file.read(size)
        while chunk:
            following = file.read(size)
            yield chunk, not following
            chunk = following


def blocks(path: Path, form: TextForm, size: int | None = None) -> Iterator[bytes]:
    """Stream the text as UTF-8, in blocks that end where a line ends.

    Parameters
    ----------
    path : Path
        The file.
    form : TextForm
        What `look` found.
    size : int, optional
        About how many bytes a block holds.
    """
    decoder = None
    if form.encoding != "utf-8":
        decoder = codecs.getincrementaldecoder(form.encoding)("queen_outcomes_latin")
    rest = b""
    for raw, last in _chunks(path, form.skip, size or BLOCK_BYTES):
        chunk = decoder.decode(raw, last).encode("utf-8") if decoder else raw
        if form.lone_cr:
            chunk = chunk.replace(b"\r", b"\n")
        end = chunk.rfind(b"\n") + 1
        if end:
            yield rest + chunk[:end]
            rest = chunk[end:]
        else:
            rest += chunk
    if rest:
        yield rest


def head(path: Path, form: TextForm, size: int = 2**18) -> list[str]:
    """Give the first lines of the text, without their line ends."""
    block = next(blocks(path, form, size), b"")
    return block.decode("utf-8").removesuffix("\n").split("\n")
