"""The encoding of a text file that no heading decides: by the letters inside its words."""

import pytest
from queen_outcomes.records.map.seen.opened import every


@pytest.mark.parametrize(
    ("text", "written", "found"),
    [
        # headings that are alike in either encoding
        ("data;matka;powód\n07.06.2025;12-25;padła\n", "cp1250", "cp1250"),
        # marks at the end of a word, or between words, are nobody's letters
        ("Datum;Königin;µl³\n07.06.2025;12;müde\n", "cp1252", ""),
        ("data;reina;col·lectat\n07.06.2025;12;sí\n", "cp1252", ""),
        ("date;reine;motif\n07.06.2025;12;l’été\n", "cp1252", ""),
    ],
)
def test_letters_inside_words_tell_the_encoding(tmp_path, text, written, found):
    (tmp_path / "gone.csv").write_bytes(text.encode(written))
    (grid,) = every(tmp_path)
    assert grid.encoding == found
    assert ";".join(cell.text for cell in grid.rows[1].cells) == text.split("\n")[1]
