"""An operator's bench measures beside the station's, as her sheet prints them."""

from __future__ import annotations

from queen_outcomes.audit.sheet import _process
from station_tables import derived, insemination


def test_a_share_has_no_middle_and_a_measure_has_its_unit():
    made = [
        insemination(
            at,
            f"Q{at}",
            operator="A" if at < 5 else "B",
            leak="some" if at < 2 else "none",
            dose_ul=8.0 + at % 3,
        )
        for at in range(10)
    ]
    store = derived(inseminations=made)
    store.step("07_audit", "process_measures", {})
    cells = {row["measure"]: row["cells"] for row in _process(store, "A")}
    named, recorded, own, station, middle = cells["leak"]
    assert (recorded, own, station, middle) == ("5", "40 %", "20 %", "")
    others = [told for name, told in cells.items() if name != "leak"]
    assert any(" to " in told[4] for told in others)
    assert "(" not in named
