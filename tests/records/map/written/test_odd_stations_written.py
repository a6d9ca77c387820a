"""What the settings say of stations with many habits, with and without defaults.

The whole is compared with what is kept, line by line: a change anywhere shows where it stands.
"""

import odd_stations
import pytest


@pytest.mark.parametrize("name", odd_stations.STATIONS)
def test_all_that_is_written_is_as_kept(name):
    kept = odd_stations.kept("written", name)
    assert odd_stations.written(name).splitlines() == kept.splitlines()
