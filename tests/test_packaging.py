"""The wheel holds what the tool reads, and not how the demo was made."""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

pytest.importorskip("hatchling")

from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder

ROOT = Path(__file__).resolve().parents[1]
SCRIPTS = "reports/static/chart-scripts.js"


def wheel_of(tree: Path, place: Path) -> set[str]:
    """Name the files of a tree's wheel."""
    (made,) = WheelBuilder(str(tree)).build(directory=str(place), versions=["standard"])
    with zipfile.ZipFile(made) as wheel:
        return set(wheel.namelist())


@pytest.fixture(scope="module")
def packed(tmp_path_factory):
    return wheel_of(ROOT, tmp_path_factory.mktemp("wheel"))


@pytest.mark.parametrize("folder", ["sql", "reports", "demo/records"])
def test_every_packaged_file_is_in_the_wheel(packed, folder):
    files = [path for path in (ROOT / folder).rglob("*") if path.is_file()]
    assert files
    for path in files:
        assert f"queen_outcomes/{path.relative_to(ROOT).as_posix()}" in packed


def test_every_module_is_in_the_wheel(packed):
    for path in (ROOT / "pipeline" / "queen_outcomes").rglob("*.py"):
        assert path.relative_to(ROOT / "pipeline").as_posix() in packed


def test_the_demos_settings_travel_and_its_making_does_not(packed):
    demo = {name for name in packed if name.startswith("queen_outcomes/demo/")}
    assert "queen_outcomes/demo/station.toml" in demo
    assert not [name for name in demo if name.endswith(".py")]


def test_no_tests_and_no_scripts_travel(packed):
    tops = {name.split("/")[0] for name in packed}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"queen_outcomes"}


def test_the_chart_scripts_travel_though_git_ignores_them(packed):
    assert f"queen_outcomes/{SCRIPTS}" in packed
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    assert "/reports/static/chart-scripts.*" in ignored


def test_a_wheel_made_from_the_sdist_is_the_same(packed, tmp_path):
    builder = SdistBuilder(str(ROOT))
    (made,) = builder.build(directory=str(tmp_path), versions=["standard"])
    # Python 3.11 has it from 3.11.4 on, and later ones warn without it
    filtered = {"filter": "data"} if hasattr(tarfile, "data_filter") else {}
    with tarfile.open(made) as sdist:
        sdist.extractall(tmp_path, **filtered)
    (tree,) = (path for path in tmp_path.iterdir() if path.is_dir())
    assert (tree / SCRIPTS).is_file()
    assert wheel_of(tree, tmp_path) == packed


@pytest.mark.slow
def test_no_record_is_read_by_a_library_that_an_installation_does_not_bring(tmp_path):
    station = tmp_path / "station"
    code = (
        "import sys; sys.modules['pyarrow'] = None\n"
        "from queen_outcomes.commands import cli\n"
        f"assert cli.run(['demo', {str(station)!r}]) == 0\n"
        f"assert cli.run(['build', {str(station)!r}, '--until', 'curves']) == 0\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "curves" in done.stdout + done.stderr
