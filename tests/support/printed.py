"""Reads what a PDF of ours says: its pages' sizes and texts, by the format's own rules.

Enough for the files that are set here (ISO 32000-1: objects, streams, ToUnicode maps of
two bytes a glyph), and no reader of PDF at large.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass

OBJECT = re.compile(rb"\n(\d+) 0 obj\n(.*?)\nendobj", re.DOTALL)
STREAM = re.compile(rb"stream\r?\n(.*)\r?\nendstream", re.DOTALL)
SHOWN = re.compile(rb"/(f\d+) [\d.]+ Tf|\(((?:[^\\()]|\\.)*)\)|\b(ET)\b", re.DOTALL)
ESCAPE = re.compile(rb"\\([0-7]{1,3}|.)", re.DOTALL)
NAMED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


@dataclass(frozen=True)
class Page:
    """One page: width and height in points, and its text, a blank between its pieces."""

    width: float
    height: float
    text: str


def pages(pdf: bytes) -> list[Page]:
    """Give the pages of a PDF."""
    objects = {int(number): body for number, body in OBJECT.findall(pdf)}
    leaves = [body for body in objects.values() if re.search(rb"/Type/Page[/>]", body)]
    return [_page(body, objects) for body in leaves]


def contents(pdf: bytes) -> list[bytes]:
    """Give what draws each page: operators and their numbers."""
    objects = {int(number): body for number, body in OBJECT.findall(pdf)}
    leaves = [body for body in objects.values() if re.search(rb"/Type/Page[/>]", body)]
    return [_stream(objects[_named(leaf, rb"Contents")]) for leaf in leaves]


def _page(body: bytes, objects: dict[int, bytes]) -> Page:
    box = re.search(rb"/MediaBox\[([^\]]+)\]", body).group(1)
    _, _, width, height = map(float, box.split())
    resources = objects[_named(body, rb"Resources")]
    fonts = {
        name.decode(): _letters(
            _stream(objects[_named(objects[int(no)], rb"ToUnicode")])
        )
        for name, no in re.findall(rb"/(f\d+) (\d+) 0 R", resources)
    }
    content = _stream(objects[_named(body, rb"Contents")])
    return Page(width, height, _text(content, fonts))


def _named(body: bytes, name: bytes) -> int:
    return int(re.search(rb"/" + name + rb" (\d+) 0 R", body).group(1))


def _stream(body: bytes) -> bytes:
    found = STREAM.search(body).group(1)
    return zlib.decompress(found) if b"/FlateDecode" in body else found


def _letters(cmap: bytes) -> dict[int, str]:
    pairs = re.findall(rb"<([0-9A-Fa-f]{4})> <([0-9A-Fa-f]+)>\n", cmap)
    return {
        int(glyph, 16): bytes.fromhex(text.decode()).decode("utf-16-be")
        for glyph, text in pairs
    }


def _text(content: bytes, fonts: dict[str, dict[int, str]]) -> str:
    letters: dict[int, str] = {}
    told = []
    for font, glyphs, end in SHOWN.findall(content):
        if font:
            letters = fonts[font.decode()]
        elif end:
            told.append(" ")
        else:
            codes = ESCAPE.sub(_unescaped, glyphs)
            told += [
                letters.get(int.from_bytes(codes[at : at + 2]), "")
                for at in range(0, len(codes), 2)
            ]
    return " ".join("".join(told).split())


def _unescaped(found: re.Match[bytes]) -> bytes:
    sign = found.group(1)
    if sign.isdigit():
        return bytes([int(sign, 8)])
    return NAMED.get(sign, sign)
