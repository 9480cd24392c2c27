"""The files that have a system start the service: content, odd paths, and what the system's own reader says."""

import configparser
import plistlib
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from verifier.bench import new_bench
from verifier.boot import StartFile, launch_agent, scheduled_task, start_name, user_unit, watch_words
from verifier.boot.windows import SCHEMA
from verifier.booting import boot_bench
from verifier.errors import WrongUsage
from verifier.screen import Screen

PLAIN = Path("/home/farm/repair bench")
ODD = Path("/home/farm/100% \"new\" $HOME <&> 'b' \\ b")


def unquoted(line: str) -> list[str]:
    """ExecStart= read as systemd.syntax(7) says: quotes, backslashes, then %% and $$."""
    words = re.findall(r'"((?:[^"\\]|\\.)*)"', line)
    return [re.sub(r"\\(.)", r"\1", word).replace("%%", "%").replace("$$", "$") for word in words]


@pytest.mark.parametrize("bench", [PLAIN, ODD])
def test_the_unit_starts_exactly_this_bench_with_exactly_this_python(bench):
    unit = user_unit(bench, watch_words(bench), Path("/home/farm/.config"))
    read = configparser.ConfigParser(interpolation=None)
    read.optionxform = str
    read.read_string(unit.text)
    assert unquoted(read["Service"]["ExecStart"]) == [sys.executable, "-m", "verifier", "watch", str(bench)]
    assert unit.path.parent == Path("/home/farm/.config/systemd/user")


def test_the_unit_waits_for_readiness_and_restarts_what_hangs_but_not_a_bench_out_of_order():
    read = configparser.ConfigParser(interpolation=None)
    read.read_string(user_unit(PLAIN, watch_words(PLAIN), Path("/c")).text)
    service = dict(read["Service"])
    assert (service["type"], service["notifyaccess"], service["restart"]) == ("notify", "main", "on-failure")
    assert float(service["watchdogsec"]) > 2 * 5.0  # half of it is longer than the longest time between two looks
    assert service["restartpreventexitstatus"] == "64 75"
    assert read["Install"]["WantedBy"] == "default.target"


def complaints_of_systemd(folder: Path, unit: StartFile, text: str) -> list[str]:
    """What systemd-analyze says of a unit; nothing where it is not installed."""
    checker = shutil.which("systemd-analyze")
    if checker is None:
        return []
    (folder / unit.path.name).write_text(text, encoding=unit.encoding)
    words = [checker, "verify", "--man=no", str(folder / unit.path.name)]
    told = subprocess.run(words, capture_output=True, text=True, check=False, timeout=30).stderr
    return [line for line in told.splitlines() if unit.path.name in line]


@pytest.mark.parametrize("bench", [PLAIN, ODD])
def test_systemd_s_own_checker_finds_nothing_to_say(tmp_path, bench):
    unit = user_unit(bench, watch_words(bench), tmp_path)
    assert complaints_of_systemd(tmp_path, unit, unit.text) == []
    spoiled = complaints_of_systemd(tmp_path, unit, unit.text.replace("KillMode", "KilMode"))
    assert len(spoiled) == (1 if shutil.which("systemd-analyze") else 0)


@pytest.mark.parametrize("bench", [PLAIN, ODD])
def test_the_launch_agent_starts_exactly_this_bench(bench):
    agent = launch_agent(bench, watch_words(bench), Path("/Users/farm"), 501)
    read = plistlib.loads(agent.text.encode(agent.encoding))
    assert read["ProgramArguments"] == [sys.executable, "-m", "verifier", "watch", str(bench)]
    assert (read["Label"], read["RunAtLoad"]) == (agent.path.stem, True)
    assert read["KeepAlive"] == {"SuccessfulExit": False}
    assert agent.path.parent == Path("/Users/farm/Library/LaunchAgents")
    assert agent.commands[0].startswith("launchctl bootstrap gui/501 ")


@pytest.mark.parametrize("bench", [PLAIN, ODD])
def test_the_windows_task_starts_this_bench_with_the_machine_and_without_an_end(bench):
    task = scheduled_task(bench, ["C:\\py\\python.exe", "-m", "verifier", "watch", "C:\\a b"], Path("C:/l"), "PC\\farm")
    data = task.text.encode(task.encoding)
    assert data.startswith((b"\xff\xfe", b"\xfe\xff"))
    read = ET.fromstring(data)
    texts = {element.tag.removeprefix(f"{{{SCHEMA}}}"): element.text for element in read.iter()}
    assert (texts["Command"], texts["Arguments"]) == ("C:\\py\\python.exe", '-m verifier watch "C:\\a b"')
    assert (texts["UserId"], texts["LogonType"], texts["ExecutionTimeLimit"]) == ("PC\\farm", "S4U", "PT0S")
    assert (texts["StopIfGoingOnBatteries"], texts["DisallowStartIfOnBatteries"]) == ("false", "false")
    order = [element.tag.removeprefix(f"{{{SCHEMA}}}") for element in read]
    assert order == ["RegistrationInfo", "Triggers", "Principals", "Settings", "Actions"]
    assert str(bench) in (texts["Description"] or "")


def test_two_benches_of_one_name_have_two_files():
    names = {start_name(Path(path)) for path in ("/a/bench", "/b/bench")}
    assert len(names) == 2
    assert all(re.fullmatch(r"verifier-bench-[0-9a-f]{6}", name) for name in names)


def test_a_name_without_a_plain_letter_still_makes_a_file():
    assert re.fullmatch(r"verifier-bench-[0-9a-f]{6}", start_name(Path("/a/…")))


def test_a_control_character_in_the_path_is_refused():
    with pytest.raises(WrongUsage, match="control character"):
        start_name(Path("/a/be\nnch"))


def test_a_bench_whose_jobs_run_on_a_cluster_is_started_with_its_address(tmp_path):
    words = watch_words(PLAIN, "tcp://barn:8786")
    assert words[-2:] == ["--cluster", "tcp://barn:8786"]
    assert unquoted(user_unit(PLAIN, words, tmp_path).text.split("ExecStart=")[1].split("\n")[0]) == words
    assert plistlib.loads(launch_agent(PLAIN, words, tmp_path, 501).text.encode())["ProgramArguments"] == words
    assert "--cluster tcp://barn:8786<" in scheduled_task(PLAIN, words, tmp_path, "PC\\farm").text


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="the place is another one there")
def test_boot_writes_the_address_of_the_cluster_and_refuses_what_is_none(tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    (tmp_path / "rules" / "sheets").mkdir(parents=True)
    bench = new_bench(tmp_path / "bench", tmp_path / "rules")
    boot_bench(bench.root, Screen(), write=True, cluster="tcp://barn:8786")
    (unit,) = (tmp_path / "config").rglob("*.service")
    assert '"--cluster" "tcp://barn:8786"' in unit.read_text()
    with pytest.raises(WrongUsage, match="no address"):
        boot_bench(bench.root, Screen(), write=True, cluster="barn where")


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="the place is another one there")
def test_the_command_shows_everything_and_writes_only_when_asked_to(tmp_path):
    (tmp_path / "rules" / "sheets").mkdir(parents=True)
    bench = new_bench(tmp_path / "bench", tmp_path / "rules")
    words = [sys.executable, "-m", "verifier", "boot", str(bench.root)]
    environment = {"XDG_CONFIG_HOME": str(tmp_path / "config"), "PATH": "", "PYTHONUTF8": "1"}
    (unit,) = [user_unit(bench.root, watch_words(bench.root), tmp_path / "config")]

    shown = subprocess.run(words, capture_output=True, text=True, env=environment, check=True)
    assert str(unit.path) in shown.stdout
    assert unit.text in shown.stdout
    assert not (tmp_path / "config").exists()

    written = subprocess.run([*words, "--write"], capture_output=True, text=True, env=environment, check=True)
    assert unit.text in written.stdout
    assert unit.path.read_text() == unit.text
    assert all(command in written.stdout for command in unit.commands)

    again = subprocess.run([*words, "--write"], capture_output=True, text=True, env=environment, check=True)
    assert "in place of the one there" in again.stdout
