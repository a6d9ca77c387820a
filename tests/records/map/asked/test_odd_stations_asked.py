"""What is asked of stations with many habits, and what speaks for each answer.

The whole is compared with what is kept, line by line: a change anywhere shows where it stands.
"""

import odd_stations
import pytest


@pytest.mark.parametrize("name", odd_stations.STATIONS)
def test_all_that_is_asked_is_as_kept(name):
    kept = odd_stations.kept("asked", name)
    assert odd_stations.asked(name).splitlines() == kept.splitlines()
