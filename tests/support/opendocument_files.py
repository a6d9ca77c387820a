"""A small .ods workbook, written as OpenDocument 1.3 has it (parts 1 to 3, OASIS 2021)."""

from __future__ import annotations

import zipfile
from pathlib import Path

_SPACES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{rest}:1.0"'
    for name, rest in (
        ("office", "office"),
        ("table", "table"),
        ("text", "text"),
        ("style", "style"),
        ("fo", "xsl-fo-compatible"),
    )
)
TYPE = "application/vnd.oasis.opendocument.spreadsheet"


def cell(text: str = "", **attributes: object) -> str:
    """A cell; `value_type="date"` is office:value-type, other names are the table's."""
    office = (
        *("value", "value_type", "date_value", "time_value", "boolean_value"),
        "string_value",
    )
    said = "".join(
        f' {"office" if name in office else "table"}:{name.replace("_", "-")}="{value}"'
        for name, value in attributes.items()
    )
    inner = f"<text:p>{text}</text:p>" if text else ""
    kind = "" if attributes.get("value_type") or not text else ' office:value-type="string"'
    return f"<table:table-cell{kind}{said}>{inner}</table:table-cell>"


def row(*cells: str, **attributes: object) -> str:
    """A row; plain texts become cells of text."""
    said = "".join(
        f' table:{name.replace("_", "-")}="{value}"' for name, value in attributes.items()
    )
    inner = "".join(c if c.startswith("<") else cell(c) for c in cells)
    return f"<table:table-row{said}>{inner}</table:table-row>"


def write(path: Path, rows: list[str], styles: str = "", sheet: str = "Sheet1") -> Path:
    """Write a workbook of one sheet."""
    content = (
        f'<?xml version="1.0"?><office:document-content {_SPACES} office:version="1.3">'
        f"<office:automatic-styles>{styles}</office:automatic-styles><office:body>"
        f'<office:spreadsheet><table:table table:name="{sheet}">{"".join(rows)}'
        "</table:table></office:spreadsheet></office:body></office:document-content>"
    )
    space = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
    manifest = (
        f'<m:manifest xmlns:m="{space}"><m:file-entry m:full-path="/" '
        f'm:media-type="{TYPE}"/></m:manifest>'
    )
    with zipfile.ZipFile(path, "w") as book:
        book.writestr("mimetype", TYPE)
        book.writestr("content.xml", content)
        book.writestr("META-INF/manifest.xml", manifest)
    return path
