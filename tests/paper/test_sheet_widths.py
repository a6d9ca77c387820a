"""How wide the columns of a sheet are made, so that room for notes is left."""

from __future__ import annotations

import pytest
from queen_outcomes.paper.sheets import (
    MARGIN,
    NOTE_LEAST,
    SIZES,
    UPRIGHT,
    Head,
    _fitted,
)

ROOM = SIZES["a4"][2] - 2 * MARGIN - NOTE_LEAST


def widths(*heads):
    return [head.width for head in _fitted([Head("x", wide, name="", hint="", choices=[]) for wide in heads], "a4")]


BOXES = (UPRIGHT / 2,) * 4


def test_columns_that_leave_room_stay_as_they_are():
    assert widths(*BOXES, 30.0, 40.0) == [*BOXES, 30.0, 40.0]


def test_wide_columns_share_what_boxes_leave():
    one, two = ROOM, 2 * ROOM
    found = widths(*BOXES, one, two)
    assert found[:4] == list(BOXES)
    assert sum(found) == pytest.approx(ROOM)
    assert found[5] == pytest.approx(2 * found[4])


def test_no_wide_column_gets_narrower_than_words_upright_and_boxes_come_last():
    many = [UPRIGHT / 2] * 4 + [UPRIGHT * 1.5] * 60
    found = widths(*many)
    assert sum(found) == pytest.approx(ROOM)
    # all by as much, once the wide ones stand at their least
    assert found[0] / found[-1] == pytest.approx(0.5)
