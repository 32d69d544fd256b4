"""Tests of the house as a whole: what loads, what imports what, what stands at the top."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from config.load import load

TOP = Path(__file__).parents[1]
PACKAGES = ("config", "daemon", "drivers", "sim_hw")
PURE_ROOMS = ("daemon.measure", "daemon.alarm", "daemon.crop")
PURE_MODULES = (
    "daemon.dose.control",
    "daemon.dose.finding",
    "daemon.dose.inflow",
    "daemon.dose.learn",
    "daemon.dose.moved_alone",
    "daemon.dose.mixing",
    "daemon.dose.newest",
    "daemon.dose.pairs",
    "daemon.dose.permit",
    "daemon.dose.points",
    "daemon.dose.response",
    "daemon.dose.reversals",
    "daemon.dose.second_look",
    "daemon.dose.trend",
    "daemon.dose.usual",
    "daemon.dose.windows",
    "daemon.values",
)
FILES_OF_PURE_ROOMS = (
    *("daemon.measure.book", "daemon.measure.history", "daemon.measure.normal_file"),
    *("daemon.alarm.describe", "daemon.alarm.life_file"),
    *("daemon.crop.diary_file", "daemon.crop.garden"),
)
AGREED = {
    *("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE"),
    *("pyproject.toml", "requirements.lock", "Makefile", ".gitignore", ".ci"),
    *("daemon", "drivers", "sim_hw", "config", "systemd", "tests", "docs"),
}
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text())["project"]
LOCK = (TOP / "requirements.lock").read_text()


def tracked() -> list[str]:
    """The paths that belong to the project, as git lists them."""
    done = subprocess.run(["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.skip("not a git checkout")
    return done.stdout.splitlines()


def module_of(path: Path) -> str:
    """`daemon/dose/permit.py` -> `daemon.dose.permit`; a folder's own file is named as the folder."""
    name = ".".join(path.relative_to(TOP).with_suffix("").parts)
    return name.removesuffix(".__init__")


@cache
def modules() -> Mapping[str, Path]:
    """Every module of the four packages."""
    paths = (path for package in PACKAGES for path in sorted((TOP / package).rglob("*.py")))
    return {module_of(path): path for path in paths}


def _named(tree: ast.AST) -> Iterator[str]:
    """The modules (or names in modules) that the import statements of a file name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _at_start(tree: ast.Module) -> ast.Module:
    """The file without what only runs in functions or is only read by the type checker."""
    kept = [
        node
        for node in tree.body
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and not (isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test))
    ]
    return ast.Module(body=kept, type_ignores=[])


@cache
def imports(module: str, *, at_start: bool = False) -> frozenset[str]:
    """The modules of ours that a module imports; `at_start`: only while it is being imported itself."""
    tree = ast.parse(modules()[module].read_text())
    found = set()
    for name in _named(_at_start(tree) if at_start else tree):
        parent = name.rpartition(".")[0]
        found |= {name} & modules().keys() or {parent} & modules().keys()
    return frozenset(found - {module})


# --- settings -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", sorted((TOP / "config" / "rigs").glob("*.toml")), ids=lambda file: file.name)
def test_every_example_loads(file: Path) -> None:
    """No shipped settings file is refused by the program it is shipped with."""
    assert load(file).reservoir


@pytest.mark.parametrize("file", sorted((TOP / "config").rglob("*.toml")), ids=lambda file: file.name)
def test_every_file_of_config_is_toml(file: Path) -> None:
    """Crops, buffers and whatever else stands there can be read."""
    assert tomllib.loads(file.read_text())


# --- imports --------------------------------------------------------------------------------------------

IMPORT_ALL = """
import sys, json
class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {"lgpio", "RPi", "pigpio", "gpiod"}:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
sys.meta_path.insert(0, Absent())
import builtins, importlib, os
opened = []
def watch(event, arguments):
    if event == "open" and str(arguments[0]).startswith(("/dev/i2c", "/dev/gpio", "/sys/")):
        opened.append(str(arguments[0]))
sys.addaudithook(watch)
failed = {}
for name in json.loads(sys.argv[1]):
    try:
        importlib.import_module(name)
    except Exception as error:
        failed[name] = repr(error)
print(json.dumps({"failed": failed, "opened": opened}))
"""


def test_every_module_imports_without_a_pi() -> None:
    """No pin library, no bus, and nothing below /dev or /sys is touched by importing alone."""
    names = [name for name in modules() if not name.endswith("__main__")]
    done = subprocess.run(
        [sys.executable, "-c", IMPORT_ALL, json.dumps(names)],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == {"failed": {}, "opened": []}


def test_nothing_imports_in_a_circle() -> None:
    """Of the modules that import each other at start there is an order."""
    graph = {name: imports(name, at_start=True) for name in modules()}
    try:
        list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(f"a circle: {' -> '.join(error.args[1])}")


def _importing(packages: tuple[str, ...], banned: tuple[str, ...]) -> list[str]:
    """`module imports module`, for each import from the one group into the other."""
    return [
        f"{module} imports {other}"
        for module in modules()
        if module.split(".")[0] in packages
        for other in imports(module)
        if other.split(".")[0] in banned
    ]


def test_drivers_know_nothing_of_the_daemon() -> None:
    """What touches wires can be used and tested without the rest; nor does it know the simulator."""
    assert _importing(("drivers",), ("daemon", "config", "sim_hw")) == []


def test_settings_know_nothing_of_the_daemon() -> None:
    """They are read before it exists."""
    assert _importing(("config",), ("daemon", "sim_hw")) == []


def test_the_simulator_is_the_other_side_of_the_wires() -> None:
    """It knows no caps: only the seam, words for a wrong table, how to make a bench to settings, and a page.

    That water obeys the same chemistry on both sides of the wires, and lettuce the same laws, is no knowledge of
    the other side.
    """
    nature = {"config.chemistry", "config.source_water", "daemon.crop.lettuce", "daemon.measure.air"}
    known = {line for line in _importing(("sim_hw",), ("daemon", "config")) if line.split()[-1] not in nature}
    assert known <= {
        "sim_hw.tables imports config.complaint",
        "sim_hw.from_settings imports config.pump",
        "sim_hw.from_settings imports config.settings",
        "sim_hw.describe imports config.describe",
    }


def _is_pure(module: str) -> bool:
    in_room = any(module == room or module.startswith(f"{room}.") for room in PURE_ROOMS)
    return (in_room or module in PURE_MODULES) and module not in FILES_OF_PURE_ROOMS


def test_pure_rooms_see_only_values_and_each_other() -> None:
    """Judging, deciding and reckoning cannot reach a bus, a file or the settings."""
    allowed = {"drivers.probe", "daemon", "config.settings"}
    allowed |= {f"config.{name}" for name in ("chemistry", "prices", "pump", "table")}
    wrong = [
        f"{module} imports {other}"
        for module in filter(_is_pure, modules())
        for other in imports(module)
        if not (_is_pure(other) or other in allowed)
    ]
    assert wrong == []


IMPURE = {"time", "socket", "sqlite3", "threading", "subprocess", "os", "random", "pathlib", "asyncio", "select"}


def test_pure_rooms_have_no_clock_file_or_thread() -> None:
    """What they need comes in as an argument."""
    wrong = [
        f"{module} imports {name}"
        for module in filter(_is_pure, modules())
        for name in _named(ast.parse(modules()[module].read_text()))
        if name.split(".")[0] in IMPURE
    ]
    assert wrong == []


def test_only_rehearsing_may_name_the_simulator() -> None:
    """No other code of the daemon knows whether it is simulated."""
    assert {line.split(" imports ")[0] for line in _importing(("daemon",), ("sim_hw",))} <= {
        "daemon.cli.rehearse",
        "daemon.cli.contest",
        "daemon.cli.demo",
        "daemon.rehearsal.compare",
        "daemon.rehearsal.staging",
        "daemon.rehearsal.rivals",
    }


def test_only_the_sending_process_loads_the_senders_of_alerts() -> None:
    """It costs half a second and 40 MB, and what it loads is nobody's business in a pass."""
    named = {
        module
        for module, path in modules().items()
        if any(name.split(".")[0] == "apprise" for name in _named(ast.parse(path.read_text())))
    }
    assert named == {"daemon.ways.send"}
    assert [module for module in modules() if "daemon.ways.send" in imports(module)] == []


# --- the top --------------------------------------------------------------------------------------------


def test_the_newest_change_is_of_this_version() -> None:
    """CHANGELOG.md and pyproject.toml agree, newest first."""
    headings = re.findall(r"^## (\d+)\.(\d+)\.(\d+)\b", (TOP / "CHANGELOG.md").read_text(), re.MULTILINE)
    assert ".".join(headings[0]) == PROJECT["version"]
    numbers = [tuple(map(int, heading)) for heading in headings]
    assert numbers == sorted(numbers, reverse=True)


def test_the_top_holds_only_agreed_names() -> None:
    """A new file finds its room, or a new name is agreed on."""
    assert {path.split("/")[0] for path in tracked()} - AGREED == set()


def test_the_lock_holds_what_the_project_asks_for() -> None:
    """Each dependency is pinned to a version that pyproject.toml allows, with hashes and no addresses."""
    pinned = dict(re.findall(r"^([a-z0-9-]+)==([^\s;\\]+)", LOCK, re.MULTILINE))
    extras = PROJECT["optional-dependencies"]
    for text in (*PROJECT["dependencies"], *extras["pi"], *extras["dev"]):
        wanted = Requirement(text)
        assert wanted.specifier.contains(pinned[wanted.name]), f"{text}: run `make lock`"
    assert "://" not in LOCK
    assert LOCK.count("==") <= LOCK.count("--hash=sha256:")


def test_the_lock_keeps_what_only_developing_needs_apart() -> None:
    """The first part has all that the service needs and is built with; the second the tools of the tests."""
    first, second = (
        set(re.findall(r"^([a-z0-9-]+)==", part, re.MULTILINE)) for part in LOCK.split("\n# Only to develop:\n")
    )
    names = [
        Requirement(text).name for text in (*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["pi"])
    ]
    assert {*names, "hatchling", "pydantic-core", "typing-extensions"} <= first
    assert {"pytest", "mypy", "ruff", "hypothesis"} <= second
    assert first.isdisjoint(second)


@pytest.mark.parametrize("script", ["run", "setup", "broker", "browser", "units", "lock"])
def test_the_gates_are_sound_shell(script: str) -> None:
    """Each script parses, and can be run as it lies."""
    file = TOP / ".ci" / script
    shell = file.read_text().splitlines()[0].removeprefix("#!").split()
    assert subprocess.run([*shell, "-n", str(file)], check=False).returncode == 0
    assert file.stat().st_mode & 0o111
