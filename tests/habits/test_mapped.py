"""The ten sets through `map` alone: few answers, every cell right, nothing lost unsaid."""

import pytest
from mapped import ANSWERS, SETS, read_set


@pytest.mark.slow
@pytest.mark.parametrize("name", SETS)
def test_a_set_is_read_as_the_paper_says(tmp_path, name):
    found = read_set(tmp_path, name)
    assert not found.said
    assert not found.opened
    assert found.answers <= 3
    wrong = {
        table: [str(report), *report.wrong, *report.missing, *report.extra]
        for table, report in found.reports.items()
        if not report.clean
    }
    assert wrong == {}
    assert found.fully_read
    assert found.total("right") > 500
    for source in found.ledger:
        numbers = ("accepted", "quarantined", "passed_over")
        assert int(source["rows_read"]) == sum(int(source[n]) for n in numbers), source


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(ANSWERS))
def test_without_answers_nothing_is_read_wrongly(tmp_path, name):
    """What the answers say stays open: cells may be missing, none is wrong unasked."""
    found = read_set(tmp_path, name, {})
    assert found.opened or not found.wrong
