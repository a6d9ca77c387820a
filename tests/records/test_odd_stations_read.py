"""What of stations with many habits is read, row by row, and what a check says of them.

The whole is compared with what is kept, line by line: a change anywhere shows where it stands.
"""

import odd_stations
import pytest


@pytest.mark.parametrize("name", odd_stations.STATIONS)
def test_the_rows_that_count_are_as_kept(name):
    kept = odd_stations.kept("read", name)
    assert odd_stations.read(name).splitlines() == kept.splitlines()


@pytest.mark.parametrize("name", odd_stations.CHECKED)
def test_what_a_check_says_is_as_kept(name):
    kept = odd_stations.kept("advised", name)
    assert odd_stations.advised(name).splitlines() == kept.splitlines()
