"""What is shipped can be made again bit for bit, and what it stands on is known."""

import json
import re
import shutil
import subprocess
import sys
import tomllib
from hashlib import sha256
from importlib.metadata import distribution

from docs_kit import FOLDER, ROOT

from service.docs.licences import closure, licence_of
from service.docs.materials import main

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
LISTED = (FOLDER / "licences.md").read_text(encoding="utf-8")
UNBOUND = {"rich", "pillow", "cryptography"}
"""A new number every few months, and never yet a change that touched us."""


def names(requirements):
    return {re.match(r"[A-Za-z0-9._-]+", each)[0].lower(): each for each in requirements}


def test_dependencies_have_upper_bounds_where_a_new_number_may_break():
    for name, requirement in names(PROJECT["dependencies"]).items():
        assert ("<" in requirement) == (name not in UNBOUND), requirement


def test_every_dependency_is_listed_with_its_licence():
    for name in names(PROJECT["dependencies"]):
        said = licence_of(distribution(name))
        row = re.search(rf"^\| {re.escape(name)} \| ([^|]+) \|", LISTED, re.MULTILINE)
        assert row, f"{name} ({said:.60}) is not in licences.md: python -m service.docs.licences"


def test_a_wheel_is_the_same_whenever_and_wherever_it_is_built(tmp_path):
    made = []
    for name in ("one", "other"):
        tree = tmp_path / name
        tree.mkdir()
        for file in ("pyproject.toml", "README.md", "LICENSE"):
            shutil.copyfile(ROOT / file, tree / file)
        for package in ("calibration", "vision", "service", "sample_frames"):
            # links: the pictures and networks are large
            (tree / package).mkdir()
            ignore = shutil.ignore_patterns("__pycache__", "*.onnx", "*.jpg", "*.png")
            shutil.copytree(
                ROOT / package, tree / package, ignore=ignore, dirs_exist_ok=True,
                copy_function=shutil.copyfile if name == "one" else shutil.copy2,
            )  # fmt: skip
        subprocess.run(
            [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", f"../of-{name}"],
            cwd=tree, check=True, capture_output=True,
            env={"PATH": "", "SOURCE_DATE_EPOCH": "1790000000"},
        )  # fmt: skip
        (wheel,) = (tmp_path / f"of-{name}").glob("*.whl")
        made.append((wheel.name, sha256(wheel.read_bytes()).hexdigest()))
    assert made[0] == made[1]


def test_the_bill_of_materials_lists_all_that_the_install_brings(tmp_path, capsys):
    path = tmp_path / "restmark.cdx.json"
    assert main([str(path)]) == 0
    bill = json.loads(path.read_text(encoding="utf-8"))
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert bill["metadata"]["component"]["name"] == "restmark"
    listed = {each["name"]: each for each in bill["components"]}
    assert set(listed) == set(closure("restmark"))
    for name, each in listed.items():
        assert each["version"] == distribution(name).version
        assert each["purl"] == each["bom-ref"] == f"pkg:pypi/{name}@{each['version']}"
        assert each["licenses"]
    refs = {bill["metadata"]["component"]["bom-ref"], *(each["purl"] for each in listed.values())}
    assert {each["ref"] for each in bill["dependencies"]} == refs
    assert all(set(each["dependsOn"]) <= refs for each in bill["dependencies"])
    own = next(each for each in bill["dependencies"] if "/restmark@" in each["ref"])
    asked = {re.sub(r"[-_.]+", "-", name) for name in names(PROJECT["dependencies"])}
    assert {each.split("/")[1].split("@")[0] for each in own["dependsOn"]} == asked
    # the same environment, the same bytes
    again = tmp_path / "again.json"
    main([str(again)])
    assert again.read_bytes() == path.read_bytes()
    assert main([]) == 2
    assert "name one file" in capsys.readouterr().out
