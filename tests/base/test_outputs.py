"""Where a named file may not go."""

from __future__ import annotations

import pytest
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import KEPT, refuse_kept_places


@pytest.mark.parametrize("name", KEPT)
def test_nothing_named_goes_where_the_station_keeps_its_own(name, tmp_path):
    beside = tmp_path / "sheets" / "week.csv"
    refuse_kept_places(tmp_path, None, beside)
    refuse_kept_places(tmp_path)
    for place in (tmp_path / name, tmp_path / name / "deep" / "week.csv"):
        with pytest.raises(UsageError, match=f"nothing is written into {name}/"):
            refuse_kept_places(tmp_path, None, beside, place)
    # a link from outside leads there too
    (tmp_path / name).mkdir()
    (tmp_path / "door").symlink_to(tmp_path / name)
    with pytest.raises(UsageError, match=name):
        refuse_kept_places(tmp_path, tmp_path / "door" / "week.csv")
