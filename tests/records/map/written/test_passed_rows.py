"""Which patterns pass over the rows that are no records."""

from types import SimpleNamespace

import pytest
from queen_outcomes.records.map.seen.sheet import _is_record
from queen_outcomes.records.map.written.patterns import pass_over


def rows(*texts):
    """Rows whose first filled cell holds these texts; what stands behind says nothing."""
    return [
        SimpleNamespace(
            cells={2: SimpleNamespace(text=text), 5: SimpleNamespace(text="behind")},
            filled=(2, 5),
        )
        for text in texts
    ]


def patterns(passed=(), groups=(), records=("Q1", "Q2")):
    sheet = SimpleNamespace(
        passed=rows(*passed), groups=rows(*groups), rows=rows(*records)
    )
    return pass_over(sheet)


@pytest.mark.parametrize(
    ("passed", "groups", "records", "expected"),
    [
        (["Total: 12", "total 7"], [], ["Q1"], ["Total*"]),
        ([], ["Yard 3", "Yard 4"], ["Q1"], ["Yard *"]),
        ([], ["Yard 3"], ["Q1"], ["Yard *"]),
        ([], ["Yard 3", "Yard 4"], ["Yard 12"], ["Yard 3", "Yard 4"]),
        # never one that a record matches
        ([], ["Yard 3", "Yard 4"], ["Yard 3"], ["Yard 4"]),
        ([], ["12 May", "12 June"], ["Q1"], ["* May", "* June"]),
        (["Checked by hand"], [], ["Q1"], ["Checked by hand"]),
        # a record may begin with a figure alone
        (["14", "3.5.", "Total 9"], [], ["Q1"], ["Total*"]),
    ],
)
def test_a_pattern_is_as_wide_as_no_record_forbids(passed, groups, records, expected):
    assert patterns(passed, groups, records) == expected


@pytest.mark.parametrize(
    ("cells", "is_record"),
    [
        ([("Q7", "text"), ("2026-06-14", "text")], True),
        ([("Q7", "text"), ("46187", "date")], True),
        ([("46187", "date")], False),
        ([("2026-06-14", "text"), ("46187", "date")], False),
        ([("Yard 3", "text"), ("seen by hand", "text")], False),
        ([("Q7", "text"), ("12", "number")], False),
    ],
)
def test_a_short_row_with_a_label_and_a_day_is_a_record(cells, is_record):
    listed = [SimpleNamespace(text=text, kind=kind) for text, kind in cells]
    row = SimpleNamespace(cells=listed, filled=tuple(range(len(cells))))
    assert _is_record(row) == is_record
