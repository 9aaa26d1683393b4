"""The wheel: built, installed away from the checkout, and used from another folder."""

import os
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest
from sample_reports import short_text

from loambrief.tables import references

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, ROOT],
        check=True, capture_output=True,
    )
    (made,) = folder.glob("*.whl")
    return made


def test_wheel_carries_its_data(wheel):
    """ensures that templates, fonts, tables and published answers are in the wheel."""
    names = zipfile.ZipFile(wheel).namelist()
    for wanted in ("loambrief/_templates/text/en/report.j2", "loambrief/_templates/theme.toml",
                   "loambrief/_templates/text/es/LC_MESSAGES/loambrief.po",
                   "loambrief/_templates/fonts/", "loambrief/tables/references/",
                   "loambrief/_published/", "loambrief/tables/crops/crops.csv"):
        assert any(n.startswith(wanted) for n in names), wanted
    assert not any("/tests/" in n or n.startswith("tests/") for n in names)


def test_wheel_carries_its_licences(wheel):
    """ensures that the wheel names its licences and carries their texts (PEP 639)."""
    inside = zipfile.ZipFile(wheel)
    (home,) = {n.split("/")[0] for n in inside.namelist() if ".dist-info/" in n}
    about = inside.read(f"{home}/METADATA").decode()
    assert "License-Expression: MIT AND OFL-1.1 AND Zlib" in about
    for text, says in (("src/loambrief/LICENSE", "MIT License"),
                       ("src/loambrief/LICENSES-DATA.md", "CC BY 4.0"),
                       ("templates/fonts/OFL.md", "SIL Open Font License"),
                       ("templates/colour/sRGB-licence.txt", "zlib")):
        assert f"License-File: {text}" in about
        assert says in inside.read(f"{home}/licenses/{text}").decode()


def test_open_licences_are_listed():
    """ensures that each source under an open licence stands in the list of licences."""
    listed = (ROOT / "src" / "loambrief" / "LICENSES-DATA.md").read_text(encoding="utf-8")
    open_ones = [key for key, about in references().items()
                 if about.licence.startswith(("CC BY", "Open Government", "open licence"))]
    assert open_ones and all(f"`{key}`" in listed for key in open_ones)


def test_installed_wheel_makes_an_advisory(wheel, tmp_path):
    """ensures that an installed copy works from another folder, without the checkout.

    The environment takes its libraries from the one the tests run in (no network), but
    Loambrief itself only from the wheel.
    """
    home = tmp_path / "environment"
    venv.create(home)
    python = home / "bin" / "python"
    libraries = [p for p in sys.path if p.endswith("site-packages")]
    site = next((home / "lib").glob("python*/site-packages"))
    subprocess.run([sys.executable, "-m", "pip", "--python", python, "install", "-q", "--no-index",
                    "--no-deps", "--no-compile", wheel], check=True, capture_output=True)
    # after the wheel's own folder, so that the wheel wins; plain path lines run no code
    (site / "zz_libraries.pth").write_text("\n".join(libraries), encoding="utf-8")
    away = tmp_path / "elsewhere"
    away.mkdir()
    case = tmp_path / "case.yaml"
    case.write_text(short_text(), encoding="utf-8")
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    where = subprocess.run([python, "-c", "import loambrief; print(loambrief.__file__)"], cwd=away,
                           check=True, capture_output=True, text=True, env=environment).stdout
    assert str(home) in where
    subprocess.run([home / "bin" / "loambrief", "advise", case, "-o", "out"], cwd=away,
                   check=True, capture_output=True, env=environment)
    assert (away / "out" / "tarrow-east-40.pdf").stat().st_size > 20_000
