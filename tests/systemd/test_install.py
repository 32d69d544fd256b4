"""Tests of systemd/install.sh: in a scratch root, from a small checkout, with a Python that only takes notes.

The last one installs the program for true; it takes half a minute and a network, so it runs where CI is set.
"""

from __future__ import annotations

import os
import re
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
LIVE_TOOLS = ("systemctl", "udevadm", "systemd-sysusers", "useradd", "userdel", "chown")
SITE, PASSWORD = "etc/evenwater/site.toml", "etc/evenwater/mqtt-password"
PAGES = "etc/evenwater/page-password"

PYTHON = """#!/bin/sh
case "$1 $2" in
"-m venv") mkdir -p "$3/bin" && cp "$0" "$3/bin/python" ;;
"-m pip") echo "$*" >>"$FAKE_LOG"; if [ -n "$FAKE_PIP_FAILS" ]; then echo "no such host" >&2; exit 1; fi ;;
*"import ensurepip"*) [ -z "$FAKE_NO_VENV" ] ;;
*"%d.%d.%d"*) echo "${FAKE_VERSION:-3.11.2}" ;;
*"version_info < (3, 11)"*) [ -z "$FAKE_VERSION" ] ;;
*) echo "$FAKE_BUILD" ;;
esac
"""
NOTING = """#!/bin/sh
echo "$0 $*" >>"$FAKE_LIVE"
"""
DF = """#!/bin/sh
printf 'Filesystem 1024-blocks Used Available Capacity Mounted on\\n/dev/x 1 1 %s 1%% /\\n' "$FAKE_FREE_KB"
"""


def script(path: Path, text: str) -> None:
    """An executable file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    path.chmod(0o755)


class Box:
    """A scratch root, a checkout to install from, and the tools of a machine that does not exist."""

    def __init__(self, folder: Path) -> None:
        self.root, self.checkout, self._tools = folder / "root", folder / "checkout", folder / "bin"
        self._log, self._live = folder / "pip", folder / "live"
        self.root.mkdir()
        shutil.copytree(HOUSE / "systemd", self.checkout / "systemd")
        for name in ("pyproject.toml", "requirements.lock", "config/rigs/pi-example.toml"):
            (self.checkout / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(HOUSE / name, self.checkout / name)
        for package in ("daemon", "drivers", "sim_hw"):
            (self.checkout / package).mkdir()
            (self.checkout / package / "__init__.py").write_text("")
        script(self._tools / "python3", PYTHON)
        script(self._tools / "df", DF)
        for name in LIVE_TOOLS:
            script(self._tools / name, NOTING)

    def run(self, *words: str, typed: str = "", python: str = "", **world: str) -> tuple[int, str]:
        """Exit code of install.sh below the scratch root, and all it said."""
        environ = {
            "PATH": f"{self._tools}:{os.environ['PATH']}",
            "FAKE_LOG": str(self._log),
            "FAKE_LIVE": str(self._live),
            "FAKE_FREE_KB": "9000000",
            "FAKE_VERSION": "",
            "FAKE_BUILD": "3.11.2 (main, of some day)",
            "FAKE_NO_VENV": "",
            "FAKE_PIP_FAILS": "",
            **world,
        }
        options = ("--root", str(self.root), "--python", python or str(self._tools / "python3"))
        done = subprocess.run(
            ["/bin/sh", str(self.checkout / "systemd" / "install.sh"), *words, *options],
            env=environ,
            input=typed,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=30,
            check=False,
        )
        return done.returncode, done.stdout

    def install(self) -> str:
        """What a fresh installation said."""
        code, said = self.run()
        assert code == 0, said
        return said

    def pip_calls(self) -> list[str]:
        """What pip was asked."""
        return self._log.read_text().splitlines() if self._log.exists() else []

    def live_calls(self) -> str:
        """What was asked of the machine's own service manager and accounts."""
        return self._live.read_text() if self._live.exists() else ""

    def tree(self) -> dict[str, tuple[int, int, int]]:
        """Everything below the root, with mode, time and number of each file."""
        found = {}
        for path in sorted(self.root.rglob("*")):
            is_ = path.lstat()
            found[str(path.relative_to(self.root))] = (is_.st_mode, is_.st_mtime_ns, is_.st_ino)
        return found

    def renew(self, version: str) -> None:
        """The checkout is pulled to another version."""
        project = self.checkout / "pyproject.toml"
        new = re.sub(r'^version = ".*"', f'version = "{version}"', project.read_text(), flags=re.MULTILINE)
        project.write_text(new)

    def mode(self, name: str) -> int:
        """Mode of a file below the root."""
        return stat.S_IMODE((self.root / name).stat().st_mode)


@pytest.fixture
def box(tmp_path: Path) -> Box:
    """A machine on which nothing is installed yet."""
    return Box(tmp_path)


# install


def test_everything_the_unit_names_is_put_in_place(box: Box) -> None:
    """Program, stop program, settings, password and state folder are where it looks for them."""
    box.install()
    unit = (box.root / "etc/systemd/system/evenwater.service").read_text()
    assert unit == (HOUSE / "systemd/evenwater.service").read_text()
    watcher = "evenwater-watch.service"
    assert (box.root / "etc/systemd/system" / watcher).read_text() == (HOUSE / "systemd" / watcher).read_text()
    program, stop = (
        box.root / re.findall(rf"^{key}=/(\S+)", unit, re.MULTILINE)[0] for key in ("ExecStart", "ExecStopPost")
    )
    assert (program.parent / "python").exists()
    assert stop.stat().st_mode & 0o111
    assert (box.root / SITE).read_text() == (HOUSE / "config/rigs/pi-example.toml").read_text()
    assert (box.root / PASSWORD).read_text() == ""
    assert (box.mode(PASSWORD), box.mode("var/lib/evenwater")) == (0o600, 0o750)
    assert os.readlink(box.root / "usr/local/bin/evenwater") == f"/{program.relative_to(box.root)}"


def test_the_page_is_put_beside_it_and_not_started(box: Box) -> None:
    """Its unit, and the empty file of its passwords; the last lines say how to have it."""
    said = box.install()
    unit = (box.root / "etc/systemd/system/evenwater-page.service").read_text()
    assert unit == (HOUSE / "systemd/evenwater-page.service").read_text()
    assert ((box.root / PAGES).read_text(), box.mode(PAGES)) == ("", 0o600)
    assert "sudo systemctl enable --now evenwater-page" in said
    assert not (box.root / "etc/systemd/system/multi-user.target.wants").exists()


@pytest.mark.parametrize(
    ("ours", "there"),
    [
        ("evenwater.sysusers.conf", "etc/sysusers.d/evenwater.conf"),
        ("evenwater.tmpfiles.conf", "etc/tmpfiles.d/evenwater.conf"),
        ("evenwater.udev.rules", "etc/udev/rules.d/60-evenwater.rules"),
    ],
)
def test_what_stands_around_it_is_where_its_own_first_line_says(box: Box, ours: str, there: str) -> None:
    """Account, folders and devices are kept right by the system itself."""
    box.install()
    text = (box.root / there).read_text()
    assert text == (HOUSE / "systemd" / ours).read_text()
    assert f"/{there}" in text.splitlines()[0]


def test_packages_come_by_their_hashes_and_only_those_it_runs_with(box: Box) -> None:
    """No test tool is put on a grower's box; nothing is fetched that the lock file does not name."""
    box.install()
    locked, own = box.pip_calls()
    assert "--require-hashes" in locked
    wanted = Path(re.findall(r"-r (\S+)", locked)[0]).name
    names = re.findall(r"^([a-z0-9-]+)==", (box.root / "opt/evenwater/.venv" / wanted).read_text(), re.MULTILINE)
    assert {"pydantic", "pydantic-core", "gpiozero", "smbus2", "paho-mqtt", "hatchling"} <= set(names)
    assert not {"pytest", "mypy", "ruff", "hypothesis", "lgpio"} & set(names)
    assert own.endswith(f"--no-deps --no-build-isolation {box.checkout}")


def test_a_second_run_changes_nothing_and_says_so(box: Box) -> None:
    """Not one file is touched; a full disk is no matter then."""
    box.install()
    before, calls = box.tree(), box.pip_calls()
    code, said = box.run(FAKE_FREE_KB="0")
    assert code == 0
    assert "nothing changed" in said
    assert (box.tree(), box.pip_calls()) == (before, calls)


def test_a_dry_run_says_every_step_and_does_none(box: Box) -> None:
    """What it would do is what is done afterwards."""
    code, said = box.run("--dry-run")
    assert code == 0
    assert "nothing was done" in said
    assert (box.tree(), box.pip_calls()) == ({}, [])
    would = re.findall(r"^evenwater: would (.*)$", said, re.MULTILINE)
    done = box.install()
    assert len(would) > 10
    steps = [step for step in would if "set the mode" not in step]  # a folder may be made with its mode at once
    assert [step for step in steps if f"evenwater: {step}\n" not in done] == []


def test_what_was_changed_by_hand_is_put_right_and_named(box: Box) -> None:
    """A password that all can read, a lost unit: only these are touched."""
    box.install()
    (box.root / PASSWORD).chmod(0o644)
    (box.root / "etc/systemd/system/evenwater.service").unlink()
    code, said = box.run()
    assert code == 0
    assert box.mode(PASSWORD) == 0o600
    assert "set the mode of /etc/evenwater/mqtt-password to 0600" in said
    assert "write /etc/systemd/system/evenwater.service" in said
    assert len(box.pip_calls()) == 2


def test_a_scratch_root_leaves_the_machine_alone(box: Box) -> None:
    """No account, no service manager, no device is asked for anything."""
    box.install()
    box.renew("0.9.0")
    assert box.run("upgrade")[0] == 0
    assert box.run("uninstall", "--purge", typed="purge\n")[0] == 0
    assert box.live_calls() == ""


# upgrade


def test_an_upgrade_keeps_settings_and_state(box: Box) -> None:
    """It says from what to what, and leaves one program behind."""
    box.install()
    kept = {SITE: "# mine\n", PASSWORD: "secret\n", "var/lib/evenwater/ledger.db": "doses\n"}
    for name, text in kept.items():
        (box.root / name).write_text(text)
    old = os.readlink(box.root / "opt/evenwater/.venv")
    box.renew("9.9.9")
    code, said = box.run("upgrade")
    assert code == 0
    assert re.search(r"Evenwater \d+\.\d+\.\d+ -> 9\.9\.9; settings and state are as they were", said)
    assert {name: (box.root / name).read_text() for name in kept} == kept
    new = os.readlink(box.root / "opt/evenwater/.venv")
    assert new != old
    assert [path.name for path in (box.root / "opt/evenwater").glob(".venv-*")] == [new]
    assert "nothing changed" in box.run("upgrade")[1]


def test_any_changed_file_of_the_program_is_an_upgrade(box: Box) -> None:
    """The version alone does not tell, nor does the Python that the system has renewed."""
    box.install()
    (box.checkout / "daemon" / "loop.py").write_text("# new\n")
    assert "install the program" in box.run("upgrade")[1]
    assert "nothing changed" in box.run("upgrade")[1]
    assert "install the program" in box.run("upgrade", FAKE_BUILD="3.11.3 (main, of another day)")[1]


def test_a_failed_upgrade_leaves_the_old_program(box: Box) -> None:
    """The one in use is untouched, the half-made one is gone, and the next try finds its way."""
    box.install()
    before = box.tree()
    box.renew("9.9.9")
    code, said = box.run("upgrade", FAKE_PIP_FAILS="yes")
    assert code == 1
    assert "no such host" in said
    assert "is there a network" in said
    after = box.tree()
    assert {name: after.get(name) for name in before if name != "opt/evenwater"} == {
        name: before[name] for name in before if name != "opt/evenwater"
    }
    assert set(after) == set(before)
    assert "-> 9.9.9" in box.run("upgrade")[1]


def test_nothing_to_upgrade(box: Box) -> None:
    """Who has nothing installed is told how to."""
    code, said = box.run("upgrade")
    assert code == 1
    assert "nothing to upgrade" in said
    assert box.tree() == {}


# uninstall


def test_uninstalling_keeps_settings_and_state(box: Box) -> None:
    """Only what was installed goes; a second time there is nothing to do."""
    box.install()
    (box.root / SITE).write_text("# mine\n")
    code, said = box.run("uninstall")
    assert code == 0
    assert "kept: /etc/evenwater, /var/lib/evenwater" in said
    files = {name for name in box.tree() if not (box.root / name).is_dir()}
    assert files == {SITE, PASSWORD, PAGES, "etc/evenwater/watch-password", "etc/evenwater/watch-urls"}
    assert (box.root / SITE).read_text() == "# mine\n"
    assert (box.root / "var/lib/evenwater").is_dir()
    assert "nothing changed" in box.run("uninstall")[1]


def test_it_can_be_taken_off_without_the_checkout(box: Box) -> None:
    """The installed script does it; to install it needs a checkout, and says so."""
    box.install()
    shutil.rmtree(box.checkout)
    (box.checkout / "systemd").mkdir(parents=True)
    for name in ("install.sh", "venv.sh"):
        shutil.copy(box.root / "opt/evenwater/systemd" / name, box.checkout / "systemd" / name)
    code, said = box.run()
    assert code == 1
    assert "is no checkout of Evenwater" in said
    assert box.run("uninstall")[0] == 0
    assert not (box.root / "opt/evenwater").exists()


def test_a_purge_must_be_typed(box: Box) -> None:
    """Given on the command line alone it removes nothing at all."""
    box.install()
    before = box.tree()
    for typed in ("", "yes\n", "PURGE\n"):
        code, said = box.run("uninstall", "--purge", typed=typed)
        assert code == 1
        assert "the ledger of every dose" in said
        assert "nothing was removed" in said
    assert box.tree() == before


def test_a_typed_purge_removes_everything(box: Box) -> None:
    """Not a file is left."""
    box.install()
    (box.root / "var/lib/evenwater/ledger.db").write_text("doses\n")
    assert box.run("uninstall", "--purge", typed="purge\n")[0] == 0
    assert [name for name in box.tree() if "evenwater" in name] == []


def test_a_dry_purge_asks_for_nothing_and_removes_nothing(box: Box) -> None:
    """It says what would go."""
    box.install()
    before = box.tree()
    code, said = box.run("uninstall", "--purge", "--dry-run")
    assert code == 0
    assert "would remove /var/lib/evenwater" in said
    assert box.tree() == before


# What stops it


@pytest.mark.parametrize(
    ("world", "says"),
    [
        ({"FAKE_VERSION": "3.9.2"}, "is Python 3.9.2, but 3.11 or newer is needed; name another: --python"),
        ({"FAKE_NO_VENV": "yes"}, "sudo apt-get install python3-venv"),
        ({"FAKE_FREE_KB": "1234"}, "only 1234 kB free at"),
        ({"python": "/no/python"}, "no /no/python here; install Python 3.11 or newer"),
    ],
)
def test_what_is_missing_is_named_with_the_next_step(box: Box, world: dict[str, str], says: str) -> None:
    """In one line, before anything is done."""
    code, said = box.run(**world)
    assert code == 1
    assert says in said.splitlines()[-1]
    assert box.tree() == {}


def test_a_file_that_cannot_be_written_is_named(box: Box) -> None:
    """Which step it was, and that the disk may be full; a second try goes on."""
    (box.root / "etc").write_text("in the way")
    code, said = box.run()
    assert code == 1
    assert "could not write /etc/sysusers.d/evenwater.conf (see above). Is the disk full or read-only?" in said
    (box.root / "etc").unlink()
    assert box.run()[0] == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--force",), '"--force" is unknown'),
        (("install", "uninstall"), "one at a time"),
        (("--purge",), "--purge goes with uninstall"),
        (("--python", ""), "--python needs a value"),
        (("--root", "/"), "this very machine"),
    ],
)
def test_used_wrongly(box: Box, words: tuple[str, ...], says: str) -> None:
    """Exit code 2, and where help is."""
    command = ["/bin/sh", str(box.checkout / "systemd" / "install.sh"), *words, "--dry-run"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert says in done.stderr
    assert "--help" in done.stderr


def test_who_is_not_root_is_told_how(tmp_path: Path) -> None:
    """With a PATH that holds nothing else, so that it could do no harm either."""
    for name in ("dirname", "cat"):
        (tmp_path / name).symlink_to(str(shutil.which(name)))
    script(tmp_path / "id", "#!/bin/sh\necho 1000\n")
    command = ["/bin/sh", str(HOUSE / "systemd" / "install.sh"), "install"]
    done = subprocess.run(command, env={"PATH": str(tmp_path)}, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "this needs root: sudo sh" in done.stderr
    assert done.stdout == ""


def test_help_shows_examples() -> None:
    """Each of the three things to ask for, and each option."""
    command = ["/bin/sh", str(HOUSE / "systemd" / "install.sh"), "--help"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    for word in ("install", "upgrade", "uninstall", "--dry-run", "--python", "--root", "--purge", "examples:"):
        assert word in said


@pytest.mark.parametrize(
    "name", ["systemd/install.sh", "systemd/venv.sh", "systemd/pumps-off", ".ci/setup", ".ci/lock", ".ci/units"]
)
def test_the_scripts_are_clean_shell(name: str) -> None:
    """As far as shellcheck can see."""
    shellcheck = shutil.which("shellcheck")
    if shellcheck is None:
        pytest.skip("needs shellcheck (Debian: shellcheck)")
    command = [shellcheck, "-x", "-P", "SCRIPTDIR", name]
    done = subprocess.run(command, cwd=HOUSE, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_the_installed_program_runs(tmp_path: Path) -> None:
    """For true: packages from the lock file, away from the checkout; it checks the settings put beside it."""
    if not os.environ.get("CI"):
        pytest.skip("half a minute, and a network: set CI=1")
    installer = [str(HOUSE / "systemd" / "install.sh"), "--root", str(tmp_path), "--python", sys.executable]
    done = subprocess.run(["/bin/sh", *installer], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    program = tmp_path / "opt/evenwater/.venv/bin/evenwater"
    version = (tmp_path / "opt/evenwater/.venv/version").read_text().strip()
    told = subprocess.run([program, "--version"], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == f"evenwater {version}"
    checked = subprocess.run([program, "check", SITE], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stderr
