"""What sheets of stations with many habits are taken for: headings, rows, columns, tables.

The whole is compared with what is kept, line by line: a change anywhere shows where it stands.
"""

import odd_stations
import pytest


@pytest.mark.parametrize("name", odd_stations.STATIONS)
def test_all_that_is_seen_is_as_kept(name):
    kept = odd_stations.kept("seen", name)
    assert odd_stations.seen(name).splitlines() == kept.splitlines()
